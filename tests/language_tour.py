"""All that a learner meets in a lesson, gone through once: questions, replies, panels, worksheets."""

from dataclasses import replace

import ipywidgets as widgets

from lessons.exercises.control_frame import reply_html
from lessons.exercises.controls import ask, predict_first, recall, steps
from lessons.exercises.lookup import lesson_of
from lessons.exercises.record_control import RecordControl
from lessons.exercises.session import Session
from lessons.language.edges import turned_data, turned_output
from lessons.panels.first_failures_panel import first_failures_panel
from lessons.panels.plant_panel import _picture, plant_panel
from lessons.pictures.layout import WIDTHS
from lessons.pictures.two_states_picture import two_states_picture
from lessons.teaching.exam import draw_exam, exam_paper
from lessons.teaching.lesson_file import chosen_lessons, read_lesson
from lessons.teaching.worksheet import worksheets
from tests.slips import asked, values_of, written

SEEDS = (0, 1, 2)
LAMP = 18
"""Letters that have room beside a lamp in the picture of the plant."""
FAR = (1e-3, 0.1, 0.25, 1 / 3, 0.5, 0.6, 0.9, 1.1, 1.5, 1.7, 2, 3, 7, 10, 60, 1000, -1, 0)


def go_through(number, turner, *, seeds=SEEDS, faults=None, part=slice(None)):
    """Hand all that a lesson shows to a turner, and return the labels of its buttons.

    `faults` are switched at the rig, all of the plant where none is named; `part` takes some of the
    questions.
    """
    labels = set()
    lesson = lesson_of(f"{number}-")
    [path] = chosen_lessons([number])
    source = path.read_text("utf-8")
    for seed in seeds:
        for item in lesson.all_items[part]:
            _asked(turner, item, lesson, seed, labels)
        for item, cell in asked(number)[part]:
            _wrong_numbers(turner, cell, lesson.numbers(item.case, seed))
        for chain in lesson.chains[part]:
            control = steps(chain.id, seed=seed, desk=Session(seed=seed))
            _shown(turner, control, labels)
            for step in chain.steps:
                if step.item:
                    item = lesson.item(step.item)
                    numbers = lesson.numbers(item.case, seed)
                    control.desk.check(step.item, item.right_answer(numbers), seed)
                    control.release()
            _shown(turner, control, labels)
        for taught in (None, frozenset()):
            for sheet in worksheets(replace(read_lesson(path), taught=taught), seed=seed)[0]:
                turner.html(sheet.html)
    exam = draw_exam([number], variants=1, minutes=30)
    turner.html(exam_paper(exam, exam.variants[0]))
    desk = Session()
    for item in lesson.items[:4]:
        desk.check(item.id, "tomorrow")
        desk.check(item.id, item.right_answer(lesson.numbers(item.case, 0)))
        desk.hint(item.id)
    _shown(turner, recall(number, desk=desk), labels)
    if "my_record" in source:
        _shown(turner, RecordControl(desk.recorder), labels)
        _shown(turner, RecordControl(Session().recorder), labels)
    if "first_failures_panel" in source:
        panel = first_failures_panel()
        _shown(turner, panel, labels)
        panel.children[2].children[1].value = "two"
        _shown(turner, panel, labels)
    if "two_states_picture" in source:
        turned_output(turner, {"text/html": two_states_picture(
            "KF1", mtbf_h=60_000, mttr_h=4)._repr_html_()})
    if "plant_panel" in source:
        panel = plant_panel()
        _rig(turner, panel, faults or panel.rig.known_faults, WIDTHS if faults is None else WIDTHS[3:4],
             labels)
    return labels


def _asked(turner, item, lesson, seed, labels):
    numbers = lesson.numbers(item.case, seed)
    if item.predicts:
        control = predict_first(item.id, seed=seed, desk=Session(seed=seed))
    else:
        control = ask(item.id, seed=seed, desk=Session(seed=seed))
    _shown(turner, control, labels)
    if item.predicts:
        control.skip()
        _shown(turner, control, labels)
        control.compare()
    else:
        control.check()
        control.hint()
    _shown(turner, control, labels)
    for column in getattr(item, "columns", ()):
        if not any(cell.own_words for place, cell in item.open_cells().items() if place[1] == column):
            labels |= {("word over a narrow column", word) for word in turner(column).split()}
    right = item.right_answer(numbers)
    answers = [..., "not sure", "tomorrow", "7", "12 kg", right, str(right).split()[0],
               *(error.answer for error in item.known_errors(numbers))]
    for answer in answers:
        desk = Session(seed=seed)
        _said(turner, desk.check(item.id, answer, seed))
    desk = Session(seed=seed)
    for _ in range(3):
        _said(turner, desk.hint(item.id, seed))
    _said(turner, desk.check(item.id, item.right_answer(numbers), seed))
    if item.predicts:
        _said(turner, desk.skip(item.id, seed))
        desk.check(item.id, item.right_answer(numbers), seed)
        for ticked in ("none", "1 2 3"):
            _said(turner, desk.observe(item.id, ticked, seed))
    if getattr(item, "kept", False):
        turned_output(turner, {"text/plain": str(desk.paper(item.id, seed))})
    if item.criteria():
        for ticked in ("", "1", "none"):
            _said(turner, desk.rate(item.id, ticked, seed))
    for later in item.asked_next():
        _asked(turner, later, lesson, seed, labels)


def _wrong_numbers(turner, cell, numbers):
    """Hand over what is replied to slips and to numbers far off, with a unit and without."""
    right = cell.solve(numbers)
    values = [value for _, value in values_of(cell, numbers)]
    for value in [*values, *(right * factor for factor in FAR), 1 / right, 100 - right]:
        for unit in dict.fromkeys(("", cell.unit, "h", "%", "1/h", "EUR", "Schritte")):
            answer = f"{written(value)} {unit}".strip()
            turner.keep(answer)  # as the edge does
            turner(cell.judge(answer, numbers, 0, {}).shows)


def _said(turner, reply):
    turner.html(reply_html(reply.feedback, reply.verdict, reply.released, reply.rows))


def _shown(turner, control, labels):
    for each in _all(control):
        state = each.get_state()
        data = turned_data(turner, {"state": state}, state.get("_model_name", ""))
        if isinstance(each, widgets.Button) and "lkx-card" not in each._dom_classes:
            labels.add(("button", data["state"]["description"]))
        if isinstance(each, widgets.Text) and data["state"].get("description"):
            labels.add(("prompt before a box", data["state"]["description"]))
        if isinstance(each, widgets.Dropdown):
            labels.add(("prompt in a narrow cell", data["state"]["_options_labels"][0]))
    if type(control).__module__.startswith("lessons"):
        bundle = control._repr_mimebundle_()
        turned_output(turner, bundle[0] if isinstance(bundle, tuple) else bundle)


def _all(control):
    yield control
    for each in getattr(control, "children", ()):
        yield from _all(each)


def _rig(turner, panel, faults, widths, labels):
    _shown(turner, panel, set())
    for width in widths:
        panel.fit(width)
        turned_data(turner, {"method": "custom", "content": {"slots": panel._values}}, "")
        turner.html(_picture(panel.rig.plant, width).svg(panel.rig.view(), panel._values))
    # Here pictures are cut for English; in another language they are turned before.
    turner.missed -= {text for text in turner.missed if text.endswith("…")}

    def sent(moments=False):
        turned_data(turner, {"method": "custom", "content": {
            "slots": panel._values, **({"frames": panel.frames()} if moments else {})}}, "")

    for drawer in ("record", "cards", "stories"):
        panel.fold(drawer, False)
    for fault in faults:
        panel.switch(fault, True)
        sent(moments=True)
        labels |= {("words of a lamp", turner(lamp.text).split(",")[0]) for lamp in panel.rig.view().lamps
                   if lamp.lit and len(lamp.text) <= LAMP}
        turned_output(turner, {"text/plain": panel.twin_text()})
        panel.switch(fault, False)
        panel.go_on()
        sent()
        panel.change_roles()
        sent()
        turned_output(turner, {"text/plain": panel.twin_text()})
        panel.start_again()
    if "QM1: shut locally" in panel.rig.known_faults:
        panel.switch("QM1: shut locally", True)
        for _ in range(6):
            panel.go_on()  # until the tank runs over
            sent()
        panel.start_again()
    sent()
    turned_output(turner, {"text/plain": panel.twin_text()})
