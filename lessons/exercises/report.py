"""The record of a learner as one page of HTML that prints on A4."""

from collections import Counter
from pathlib import Path

from lessons.exercises.attempts import course_version
from lessons.exercises.learner_record import LearnerRecord, minutes_active
from lessons.exercises.misconceptions import REGISTER
from lessons.exercises.progress import begun_lessons, changed_text, few, item_name, lesson_progress

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
    form = Path(__file__).with_suffix(".html.j2").read_text("utf-8")
    return Environment(autoescape=True).from_string(form).render(
        label=record.label, course=course_version(), count=len(attempts),
        minutes=minutes_active(attempts), lessons=lessons, mistakes=mistakes[:MOST_MISTAKES],
        first=attempts[0].when[:10] if attempts else "",
        last=attempts[-1].when[:10] if attempts else "",
        missed=few((item_name(each) for lesson, _ in lessons for each in lesson.missed), MOST_OPEN),
        begun=few((item_name(each) for lesson, _ in lessons for each in lesson.begun), MOST_OPEN),
        changed=changed_text(attempts, MOST_OPEN).splitlines())
