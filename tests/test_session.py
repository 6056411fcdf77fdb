"""The session: the ladder of hints, what is counted, what is offered, and what comes back."""

import pytest

from lessons.exercises.attempts import Attempt
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import lesson_of
from lessons.exercises.replies import Reply, Verdict, rung_after
from lessons.exercises.session import MOST_LETTERS, Session, class_seed

WRONG, RIGHT = "240 min/a", "35 min/a"  # 8760 / 60 004 x 4 x 60 = 35.04


@pytest.mark.parametrize(("rung", "kind", "verdict", "after"), [
    (0, "answer", "LOOK_AGAIN", 1), (1, "answer", "NOT_SURE", 2), (2, "answer", "PARTLY", 2),
    (0, "hint", "HINT", 1), (2, "hint", "HINT", 3), (3, "hint", "HINT", 3), (3, "answer", "LOOK_AGAIN", 3),
    (1, "answer", "RIGHT", 1), (1, "answer", "UNCLEAR", 1), (1, "answer", "NEAR", 1), (1, "answer", "UNIT", 1),
])
def test_the_route_comes_on_a_hint_only(rung, kind, verdict, after):
    assert rung_after(rung, kind, verdict) == after


def test_the_ladder_has_three_rungs_and_after_it_only_new_numbers_count():
    desk, item = Session(), lesson_of("01-").item("01-downtime")
    numbers = lesson_of("01-").numbers(item.case, 0)
    said = [desk.check(item.id, WRONG), desk.check(item.id, "not sure"), desk.check(item.id, WRONG),
            desk.hint(item.id)]
    assert [desk.rung(item.id)] * 2 == [3, desk.rung(item.id, 0)] and desk.rung(item.id, 1) == 0
    steps = [reply.next_step for reply in said]
    assert steps[0] == item.hints.pointer and steps[1] == steps[2] == item.hints.relation
    assert "35.0 min" in steps[3] and f"{numbers.mtbf_h:g}"[:2] in steps[3]
    assert [reply.offer for reply in said] == [
        "On offer: the relation to use (hint).", *["On offer: the full route (hint)."] * 2,
        "On offer: new numbers (seed 1)."]
    told = desk.check(item.id, RIGHT)
    assert (told.verdict, told.score, told.next_step, told.offer) == (
        Verdict.AS_ROUTE, 0.0, "It was told, and does not count. Other numbers do.",
        "On offer: new numbers (seed 1).")
    assert not desk.in_a_row(item) and desk.done(item.id) and not desk.done(item.id, 1)


def test_a_right_answer_offers_new_numbers_and_the_question_of_size():
    desk = Session()
    reply = desk.check("01-downtime", RIGHT)
    assert (reply.verdict, reply.score) == (Verdict.RIGHT, 1.0)
    assert reply.offer == "Right in a row: 1. On offer: new numbers (seed 1)."
    assert reply.released.endswith("By text: check('01-downtime.size', ...)")
    assert desk.done("01-downtime") and not Session().done("01-downtime")
    seeded = Session(seed=4)
    numbers = lesson_of("01-").numbers(lesson_of("01-").item("01-downtime").case, 4)
    value = 8760 / (numbers.mtbf_h + numbers.mttr_h) * numbers.mttr_h * 60
    assert seeded.check("01-downtime", f"{value!r} min/a").offer.endswith("(seed 5).")
    assert seeded.task("01-downtime").endswith("By text: check('01-downtime', ...)")
    assert seeded.task("01-downtime", 4).endswith("By text: check('01-downtime', ..., seed=4)")
    other = Session().check("01-downtime", f"{value!r} min/a", 4)
    assert other.released.endswith("By text: check('01-downtime.size', ..., seed=4)")


def test_right_in_a_row_counts_sets_of_numbers_up_to_the_last_wrong_one():
    def attempts(*made):
        record = LearnerRecord()
        desk = Session(record)
        for seed, right in made:
            numbers = lesson_of("01-").numbers(lesson_of("01-").item("01-drill").case, seed)
            value = lesson_of("01-").item("01-drill").solve(numbers)
            desk.check("01-drill", f"{value if right else 7777.7!r} min/a" if right is not None else "x y", seed)
        return desk.in_a_row(lesson_of("01-").item("01-drill"))

    assert attempts((1, True), (2, True), (2, True)) == 2
    assert attempts((1, True), (2, False), (3, True)) == 1
    assert attempts((1, True), (2, None), (3, True)) == 2  # unclear counts neither way
    assert attempts((1, True), (2, False)) == 0


def test_what_was_answered_before_is_that_of_the_same_numbers_and_lesson():
    desk = Session()
    desk.check("01-turn-3.sort", "6 h")
    desk.check("01-turn-3.sort", "7 h", 1)
    desk.check("02-shared", "2 min")
    desk.check("01-mttr", "no number")
    before = desk._earlier(lesson_of("01-"), 0)
    assert before == {"01-turn-3.sort": 6.0, "solved": set()}
    desk.check("01-downtime", RIGHT, 0)
    assert desk._earlier(lesson_of("01-"), 1) == {"01-turn-3.sort": 7.0, "solved": {"01-downtime"}}


def test_a_prediction_is_kept_shown_and_compared():
    desk, name = Session(), "01-first-failures"
    assert desk.predicted(name) is None
    noted = desk.check(name, "none because it is far")
    assert noted.verdict is Verdict.NOTED and "Now observe." in noted.next_step
    assert desk.predicted(name) == ("none", "it is far") and desk.predicted(name, 1) is None
    desk.skip(name)
    assert desk.predicted(name) is None
    skipped = desk.recorder.attempts()[-1]
    assert (skipped.kind, skipped.verdict) == ("skip", "SKIPPED")
    desk.check(name, "third because a share goes")
    seen = desk.observe(name, "1 3")
    assert seen.verdict is Verdict.NOTED and desk.recorder.attempts()[-1].kind == "observation"
    assert desk.observe(name, "nothing such").verdict is not Verdict.NOTED
    assert desk.recorder.attempts()[-1].kind == "observation"
    assert desk.predicted(name) == ("third", "a share goes")


def test_own_words_are_rated_by_criteria():
    desk = Session()
    three = ("compares both ways by a number", "says what the spare changes", "says what stays as it is")
    one = desk.rate("01-card", "2")
    assert (one.verdict, one.value, one.score) == (Verdict.NOTED, (three[1],), 1 / 3)
    assert one.shows == "1 of 3 criteria are met."
    assert one.next_step == f"Still open: {three[0]}; {three[2]}."
    everything = desk.rate("01-card", "1 2 3")
    assert (everything.score, everything.next_step) == (1.0, "")
    assert desk.rate("01-card", "none").score == 0.0
    assert [each.kind for each in desk.recorder.attempts()] == ["rating"] * 3
    assert desk.rate("01-card", "").verdict is Verdict.BLANK
    assert desk.rate("01-card", "4").verdict is Verdict.UNCLEAR
    assert len(desk.recorder.attempts()) == 3


def test_a_table_is_kept_as_it_was_filled():
    desk = Session()
    assert desk.filled("01-card") == {}
    grid = {("failures per year", "spare on the shelf"): "0.1"}
    desk.check("01-card", grid)
    assert desk.filled("01-card") == {"failures per year / spare on the shelf": "0.1"}
    assert desk.filled("01-card", 1) == {}
    desk.check("01-card", {("failures per year", "spare on the shelf"): "0.2"})
    assert desk.filled("01-card") == {"failures per year / spare on the shelf": "0.2"}
    assert "0.2" in desk.paper("01-card")


def test_what_opens_a_lesson_was_missed_last():
    def missed(*names):
        record = LearnerRecord()
        for name in names:
            Session(record).check(name, "not sure")
        return Session(record)

    # Its own three; one and at most two of earlier lessons before them, the last one first.
    assert Session().recall("04") == ("04-recall-mttr", "04-recall-shared", "04-recall-mtbf")
    assert missed("01-mttr").recall("04") == ("01-mttr", "04-recall-mttr", "04-recall-shared")
    assert missed("01-mttr", "01-drill", "01-downtime").recall("04") == (
        "01-downtime", "01-drill", "04-recall-mttr")
    assert missed("04-recall-failures").recall("04") == (
        "04-recall-mttr", "04-recall-shared", "04-recall-failures")


def test_a_chain_goes_on_when_a_step_is_done():
    desk, chain = Session(), lesson_of("01-").chain("01-turn-3")
    asked = [place for place, step in enumerate(chain.steps, 1) if step.item is not None]
    first = chain.steps[asked[0] - 1].item
    places = [place for place, _ in desk.open_steps(chain)]
    assert places == list(range(1, asked[0] + 1))
    assert desk.task("01-turn-3").count("Step ") == asked[0]
    wrong = desk.check(first, "7777 h")
    assert wrong.verdict is not Verdict.RIGHT and f"Step {asked[0] + 1}," not in wrong.released
    numbers = lesson_of("01-").numbers(chain.case, 0)
    done = desk.check(first, lesson_of("01-").item(first).right_answer(numbers))
    assert done.released.startswith(f"Step {asked[0] + 1},") and "in a row" not in done.offer
    assert [place for place, _ in desk.open_steps(chain)] == list(range(1, asked[1] + 1))
    assert [place for place, _ in desk.open_steps(chain, start=asked[0])] == list(
        range(asked[0] + 1, asked[1] + 1))


def test_an_answer_that_is_too_long_is_kept_by_its_beginning():
    desk = Session()
    desk.check("01-downtime", "9" * (MOST_LETTERS + 5))
    assert len(desk.recorder.attempts()[-1].raw) == MOST_LETTERS
    desk.check("01-restoration", ["x" * MOST_LETTERS])
    assert len(desk.recorder.attempts()[-1].raw) <= MOST_LETTERS


def test_blank_is_no_attempt_and_the_next_step_is_said():
    desk = Session()
    blank = desk.check("01-downtime")
    assert (blank.verdict, blank.next_step) == (Verdict.BLANK, "Answer in the box, or by text.")
    assert desk.recorder.attempts() == ()
    unclear = desk.check("01-downtime", "a lot")
    assert (unclear.verdict, unclear.next_step) == (Verdict.UNCLEAR, "Nothing was counted.")


def test_a_notice_stands_at_the_end_of_each_reply():
    record = LearnerRecord()
    record.problem = "The disk is full."
    desk = Session(record)
    for reply in (desk.check("01-downtime", WRONG), desk.hint("01-downtime"), desk.skip("01-first-failures"),
                  desk.observe("01-first-failures", "1"), desk.rate("01-card", "1")):
        assert reply.feedback.endswith(" The disk is full.")


@pytest.mark.parametrize(("reply", "said"), [
    (Reply(Verdict.RIGHT, "it is.", "Go on.", "New ones."), "Right: it is. Go on. New ones."),
    (Reply(Verdict.BLANK), "Not answered yet."),
    (Reply(Verdict.LOOK_AGAIN, "On a real plant, stop here: a live part.", notice="Full."),
     "On a real plant, stop here: a live part. Full."),
])
def test_a_reply_is_one_line(reply, said):
    assert reply.feedback == said == str(reply)


def test_the_seed_of_a_class_is_a_whole_number(monkeypatch):
    monkeypatch.delenv("WORKBOOK_SEED", raising=False)
    assert class_seed() == 0
    monkeypatch.setenv("WORKBOOK_SEED", "12")
    assert class_seed() == 12
    monkeypatch.setenv("WORKBOOK_SEED", "1.5")
    with pytest.raises(ValueError, match="WORKBOOK_SEED must be a whole number, got '1.5'"):
        class_seed()


def test_what_was_asked_otherwise_counts_no_more():
    desk = Session()
    desk.check("01-downtime", WRONG)
    (made,) = desk.recorder.attempts()
    record = LearnerRecord()
    record.add(Attempt(**{**vars(made), "digest": "of another question"}))
    assert desk.rung("01-downtime") == 1 and Session(record).rung("01-downtime") == 0
