"""How the questions are handled, without a browser: replies that go, marks, the folded prediction."""

import re
from html import unescape

import pytest

from lessons.exercises import controls
from lessons.exercises.control_frame import KEYS, ControlBox, button, mark_html, reply_html
from lessons.exercises.record_control import RecordControl
from lessons.exercises.replies import STOP_HERE, Verdict
from lessons.exercises.session import Session


def asked(item_id):
    return controls.ask(item_id, desk=Session())


@pytest.mark.parametrize(("item_id", "first", "then"), [
    ("01-downtime", "77 min/a", "35 min/a"), ("01-recall-share", "seconds", "hours"),
])
def test_a_changed_answer_takes_the_old_reply_away(item_id, first, then):
    control = asked(item_id)
    keys = dict(getattr(control.box, "options", ()))
    options = list(keys.values()) or [first, then]
    control.box.value = options[0]
    control.check()
    assert "lkx-reply" in control.reply.value
    control.box.value = options[1]
    assert control.reply.value == ""


def test_a_placed_card_takes_the_old_reply_away():
    control = asked("01-restoration")
    control.check()
    assert "Not answered yet" in control.reply.value
    control.place(0)
    assert control.reply.value == ""


def test_each_cell_of_a_table_is_marked_until_it_changes():
    control = asked("01-card")
    numbers = control.numbers
    right = control.item.right_answer(numbers)
    places = [place for place, cell in control.item.open_cells().items() if not cell.own_words]
    good, bad, blank = (" / ".join(place) for place in places[:3])
    control.cells[good].value = right[places[0]]
    control.cells[bad].value = "7777 EUR"
    control.check()
    assert "✓" in control.marks[good].value and "right" in control.marks[good].value
    assert "lkx-again" in control.marks[bad].value and control.marks[blank].value == ""
    control.cells[bad].value = "7776 EUR"
    assert control.marks[bad].value == "" and control.reply.value == ""
    assert control.marks[good].value


def test_verdicts_differ_by_word_shape_and_rim():
    seen = [reply_html(f"{verdict.value}.", verdict) for verdict in
            (Verdict.RIGHT, Verdict.LOOK_AGAIN, Verdict.PARTLY, Verdict.HINT, Verdict.UNCLEAR)]
    seen.append(reply_html(f"{STOP_HERE} no.", Verdict.LOOK_AGAIN))
    rims = {re.search(r"lkx-reply (lkx-\w+)", html)[1] for html in seen}
    shapes = {re.search(r'"true">(.)</span>', html)[1] for html in seen}
    words = {re.search(r"<b>(.+?)</b>", html)[1] for html in seen}
    assert len(rims) == len(shapes) == len(words) == len(seen)
    for verdict in Verdict:
        assert not (mark := mark_html(verdict)) or verdict.value.lower() in mark


def test_every_box_of_ours_guards_its_keys_whatever_it_shows():
    boxes = [asked("01-downtime"), controls.ask("01-downtime", "01-restoration", desk=Session()),
             controls.steps("01-turn-1", desk=Session()), controls.recall("01", desk=Session()),
             controls.predict_first("01-first-failures", desk=Session()),
             RecordControl(Session().recorder), ControlBox("")]
    boxes[0].renew()
    boxes[1].forward()
    boxes[4].skip()
    boxes[-1].children = ()
    for box in boxes:
        assert [getattr(child, "value", "") for child in box.children].count(KEYS) == 1
    assert "data-lm-suppress-shortcuts" in unescape(KEYS) and '"' not in KEYS.split('onerror="')[1][:-2]


def test_enter_finds_the_button_that_checks():
    assert "lkx-main" in button("Check", "", print, None, "primary")._dom_classes
    assert "lkx-main" not in button("Hint", "", print, None)._dom_classes


def test_a_prediction_is_one_line_once_it_is_committed():
    control = controls.predict_first("01-first-failures", desk=Session())
    control.box.value = "not sure"
    control.check()
    assert control.box not in control.children and control.because not in control.children
    assert control.children[0].value.count("<summary>") == 1
    assert "you expect: not sure." in control.reply.value and "Because" not in control.reply.value
    assert len(control.ticks) > 1
