"""The record of a learner as one page of HTML that prints on A4."""

from __future__ import annotations

from collections import Counter

from lessons.exercises.attempts import course_version
from lessons.exercises.learner_record import LearnerRecord, minutes_active
from lessons.exercises.misconceptions import REGISTER
from lessons.exercises.progress import begun_lessons, changed_text, few, item_name, lesson_progress

__all__ = ["report_html"]

MOST_MISTAKES = 6
MOST_OPEN = 12


def report_html(record: LearnerRecord) -> str:
    """Return a record as one page.

    Returns
    -------
    str
        HTML with everything in it: how far each lesson is, what is open, what came up most often,
        and what has changed since.

    >>> "Actions: 0." in report_html(LearnerRecord(label="7"))
    True
    """
    from jinja2 import Environment

    attempts = record.attempts()
    lessons = [
        (lesson_progress(number, attempts), minutes_active(tuple(
            attempt for attempt in attempts if attempt.item_id.startswith(f"{number}-"))))
        for number in begun_lessons(attempts)
    ]
    met = Counter(attempt.misconception for attempt in attempts if attempt.misconception)
    known = {entry.id: entry for entry in REGISTER}
    mistakes = [(known[name], count) for name, count in met.most_common() if name in known]
    template = Environment(autoescape=True).from_string(PAGE)
    return template.render(
        label=record.label, course=course_version(), count=len(attempts),
        minutes=minutes_active(attempts), lessons=lessons, mistakes=mistakes[:MOST_MISTAKES],
        first=attempts[0].when[:10] if attempts else "",
        last=attempts[-1].when[:10] if attempts else "",
        missed=few((item_name(each) for lesson, _ in lessons for each in lesson.missed), MOST_OPEN),
        begun=few((item_name(each) for lesson, _ in lessons for each in lesson.begun), MOST_OPEN),
        changed=changed_text(attempts, MOST_OPEN).splitlines())


PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Record of {{ label }}</title><style>
@page { size: A4; margin: 15mm }
body { font: 10pt/1.4 "DejaVu Sans", sans-serif; color: #000; background: #fff;
       max-width: 48em; margin: auto }
h1 { font-size: 16pt; margin: 0 0 4pt } h2 { font-size: 12pt; margin: 12pt 0 3pt }
p { margin: 4pt 0 }
table { border-collapse: collapse; width: 100% }
th, td { border-bottom: 0.5pt solid #777; padding: 3pt 5pt; text-align: left;
         vertical-align: top; font-weight: 400 }
thead th { font-weight: 700 } .number { text-align: right; white-space: nowrap }
</style></head><body><h1>Record of {{ label }}</h1>
<p>Actions: {{ count }}{% if count %} from {{ first }} to {{ last }}{% endif %}.
Minutes active: {{ "%.0f" | format(minutes) }}. Course version: {{ course }}.</p>
<h2>Lessons begun</h2>
{% if lessons %}<table><thead><tr><th scope="col">lesson</th><th scope="col" class="number">done</th>
<th scope="col" class="number">missed</th><th scope="col" class="number">begun</th>
<th scope="col" class="number">not answered</th><th scope="col" class="number">minutes</th></tr>
</thead><tbody>
{% for lesson, active in lessons %}<tr><th scope="row">{{ lesson.number }} {{ lesson.title }}</th>
<td class="number">{{ lesson.done | length }} of {{ lesson.count }}</td>
<td class="number">{{ lesson.missed | length }}</td>
<td class="number">{{ lesson.begun | length }}</td>
<td class="number">{{ lesson.waiting | length }}</td>
<td class="number">{{ "%.0f" | format(active) }}</td></tr>
{% endfor %}</tbody></table>
{% if missed %}<p>Missed at the last attempt: {{ missed }}.</p>{% endif %}
{% if begun %}<p>Begun: {{ begun }}.</p>{% endif %}{% else %}<p>None.</p>{% endif %}
<h2>Worth another look</h2>
{% if mistakes %}<table><thead><tr><th scope="col">what an answer said</th>
<th scope="col">what holds</th><th scope="col" class="number">times</th></tr></thead><tbody>
{% for entry, count in mistakes %}<tr><th scope="row">{{ entry.id }}: {{ entry.says }}</th>
<td>{{ entry.correction }}</td><td class="number">{{ count }}</td></tr>
{% endfor %}</tbody></table>{% else %}<p>Nothing that points to a misconception.</p>{% endif %}
{% for line in changed %}<p>{{ line }}</p>{% endfor %}
</body></html>
"""
