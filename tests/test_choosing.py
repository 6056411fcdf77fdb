"""What is chosen, ordered and filled in: how answers are read, which letters stand where, what counts."""

from types import SimpleNamespace

import pytest

from lessons.exercises.choosing import Choice, Option, meant
from lessons.exercises.item import NOT_SURE, Case, Hints
from lessons.exercises.numeric import Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.replies import Verdict
from lessons.exercises.table import Free, Pick, Table

N = SimpleNamespace(units=3)
CASE, HINTS = Case("00", "", {"units": (3,)}), Hints("", "", "")
TWO = (Option("pair", "The pair, since it does all", "All {units} of them?", right=True),
       Option("alone", "310 ms for {units}", "Which one?", misconception="M05"))
TURNS = Option("turns", "It turns", "It does.", right=lambda n: n.units > 2, question="Does it, with {units}?")


def choice(*options, in_order=True):
    return Choice("00-choice", "", "", CASE, "Which?", options or TWO, HINTS, in_order=in_order)


NAMED = {"The pair, since it does all": 1, "310 ms": 2, "It pays": 3, "It pays less": 4, "An oil": 5,
         "Two of them": 6}


@pytest.mark.parametrize(("said", "which"), [
    ("The pair, since it does all", 1), ("the  PAIR, since it does all.", 1), ("pair", 1), ("a pair", 1),
    ("pair, since", 1), ("pair since", None), ("pai", None), ("310", 2), ("31", None), ("about 310 ms!", 2),
    ("it pays", 3), ("'It pays less')", 4), ("it pays l", None), ("it", None), ("pays", None), ("", None),
    ("oil", 5), ("the oil", 5), ("two", None), ("two of", 6), ("two of them and more", None),
])
def test_a_text_is_meant_by_its_beginning_where_that_is_enough(said, which):
    assert meant(said, NAMED) == which


@pytest.mark.parametrize(("answer", "key"), [
    ("a", "pair"), ("A)", "pair"), ("(b)", "alone"), ("b.", "alone"), ("option b", "alone"),
    ("I think b", "alone"), ("the answer is: a", "pair"), ("It's b", "alone"), ("b) 310 ms", "alone"),
    ("b because it is slow", "alone"), ("a, the pair", "pair"), ("b is it", None), ("ab", None),
    ("pair", "pair"), ("ALONE", "alone"), ("310 ms for 3", "alone"), ("310 ms", "alone"),
    ("c", NOT_SURE), ("not sure", NOT_SURE), ("d", None), ("", None), (2, None), (None, None),
])
def test_an_option_is_chosen_by_letter_key_or_text(answer, key):
    chosen = choice().chosen(answer, N, 0)
    assert getattr(chosen, "key", chosen) == key


def test_a_choice_is_judged_by_hand():
    item = choice()
    right, wrong, unsure, unclear = (item.judge(said, N, 0, {}) for said in ("a", "b", "c", "d"))
    assert (right.verdict, right.shows, right.value, right.score, right.misconception) == (
        Verdict.RIGHT, "All 3 of them?", "pair", 1.0, None)
    assert (wrong.verdict, wrong.shows, wrong.value, wrong.score, wrong.misconception) == (
        Verdict.LOOK_AGAIN, "Which one?", "alone", 0.0, "M05")
    assert (unsure.verdict, unsure.value) == (Verdict.NOT_SURE, NOT_SURE)
    assert (unclear.verdict, unclear.shows) == (Verdict.UNCLEAR, "one of a, b, c is expected.")


def test_an_option_that_is_right_for_some_numbers_has_a_question_for_the_others():
    two = SimpleNamespace(units=2)
    assert (TURNS.is_right(N), TURNS.said_back(N)) == (True, "It does.")
    assert (TURNS.is_right(two), TURNS.said_back(two)) == (False, "Does it, with 2?")
    assert TWO[1].said_back(N) == "Which one?"


def test_one_option_is_right_and_no_two_read_alike():
    assert choice().separated(N) and choice().best(N) is TWO[0]
    assert not choice(TWO[1], TWO[1]).separated(N)
    assert not choice(*TWO, TURNS).separated(N)  # two are right
    assert choice(*TWO, TURNS).separated(SimpleNamespace(units=2))
    assert not choice(*TWO, Option("also", "310 ms for 3")).separated(N)


def test_options_stand_in_their_own_order_or_in_that_of_the_seed():
    options = (*TWO, *(Option(key, key) for key in ("x", "y", "z")))
    item = choice(*options, in_order=False)
    orders = {tuple(option.key for option in item.arranged(seed)) for seed in range(40)}
    assert len(orders) > 20 and all(sorted(each) == sorted(o.key for o in options) for each in orders)
    assert item.arranged(7) == item.arranged(7) and choice(*options).arranged(7) == list(options)
    for seed in range(9):
        shown = item.lettered_options(N, seed)
        assert [*shown.values()] == [*(option.key for option in item.arranged(seed)), NOT_SURE]
        assert item.form(N, seed) == [*shown] and [text[0] for text in shown] == [*"abcdef"]
        place = item.arranged(seed).index(TWO[0])
        assert item.marked_by(N, seed) == ("abcde"[place],)
        assert item.judge("abcde"[place], N, seed, {}).verdict is Verdict.RIGHT
    assert choice().on_paper(N, 0).options == ("The pair, since it does all", "310 ms for 3", NOT_SURE)


def test_the_key_has_the_reason_and_the_wrong_options():
    item = choice()
    assert item.key_lines(N) == ("The pair, since it does all; All 3 of them?",)
    assert item.right_answer(N) == "pair"
    (error,) = item.known_errors(N)
    assert (error.answer, error.misconception, error.says, error.reply) == (
        "alone", "M05", "310 ms for 3", "Which one?")


# ---------------------------------------------------------------- order

CARDS = ("notice it", "travel", "swap {units}", "start")


def order(*cards, **more):
    return Order("00-order", "", "", CASE, "Sort.", cards or CARDS, "It is noticed first, by {units}.",
                 HINTS, **more)


def test_cards_never_lie_in_the_right_order():
    for seed in range(60):
        assert order("x", "y").arranged(seed) == [1, 0]
        assert sorted(order().arranged(seed)) == [0, 1, 2, 3] != order().arranged(seed)


@pytest.mark.parametrize(("placed", "kept", "said"), [
    # how many have the right card after them
    ([0, 1, 3, 2], 1, "1 of 3 cards has the right card after it."),
    ([2, 3, 0, 1], 2, "2 of 3 cards have the right card after them."),
    ([3, 2, 1, 0], 0, "0 of 3 cards have the right card after them."),
    ([1, 0, 2, 3], 1, "1 of 3 cards has the right card after it."),
])
def test_an_order_is_judged_by_neighbours(placed, kept, said):
    judged = order().judge([CARDS[card].format(units=3) for card in placed], N, 0, {})
    assert (judged.verdict, judged.shows, judged.score) == (Verdict.LOOK_AGAIN, said, kept / 3)
    assert order().points == 3


def test_the_right_order_has_its_reason():
    judged = order().judge(["notice it", "travel", "swap 3", "start"], N, 0, {})
    assert (judged.verdict, judged.shows, judged.score) == (Verdict.RIGHT, "It is noticed first, by 3.", 1.0)
    assert order().judge("not sure", N, 0, {}).verdict is Verdict.NOT_SURE


def test_a_swap_is_asked_for_and_the_first_one_goes_first():
    item = order(swaps={(0, 2): ("M05", "Is {units} swapped unseen?"), (2, 3): ("M06", "Start what?")})
    both = item.judge(["start", "swap 3", "notice it", "travel"], N, 0, {})
    assert (both.misconception, both.shows, both.score) == (
        "M05", "1 of 3 cards has the right card after it. Is 3 swapped unseen?", 1 / 3)
    second = item.judge(["notice it", "travel", "start", "swap 3"], N, 0, {})
    assert second.misconception == "M06" and second.shows.endswith("after it. Start what?")
    neither = item.judge(["travel", "notice it", "swap 3", "start"], N, 0, {})
    assert neither.misconception is None
    # The later card of a swap just before the other one.
    assert [error.answer for error in item.known_errors(N)] == [
        ["swap 3", "notice it", "travel", "start"], ["notice it", "travel", "start", "swap 3"]]


@pytest.mark.parametrize("said", [
    "{} {} {} {}", "{}{}{}{}", "{}, {}, {}, {}", "{} > {} → {}; {}", "first {}, then {} and {}, last {}", "{}\n{}\n{}\n{}",
    "({}) ({}) ({}) ({})"])
def test_letters_are_read_in_their_order(said):
    for seed in range(4):
        letters = order().letters([0, 1, 2, 3], seed)
        assert order().judge(said.format(*letters), N, seed, {}).verdict is Verdict.RIGHT
        assert order().judge(said.format(*letters[::-1]).upper(), N, seed, {}).score == 0.0
        assert order().marked_by(N, seed) == (" ".join(letters),)


@pytest.mark.parametrize("said", [
    "", "a b c", "a b c d d", "a a b c", "a b c e", ["travel"], 5, None, "travel, start", ["notice it"] * 4])
def test_each_letter_is_expected_once(said):
    judged = order().judge(said, N, 0, {})
    assert judged.verdict in (Verdict.UNCLEAR, Verdict.BLANK)
    assert judged.verdict is Verdict.BLANK or judged.shows == "each of the 4 letters is expected once."


def test_cards_are_read_by_their_names_too():
    assert order().judge("Notice it, travel; SWAP 3 then start", N, 0, {}).verdict is Verdict.RIGHT
    assert order().key_lines(N) == ("1. notice it", "2. travel", "3. swap 3", "4. start")
    assert order().separated(N) and not order("swap 3", "swap {units}").separated(N)
    for seed in range(4):
        shown = order().lettered_cards(N, seed)
        assert [*shown.values()] == order().arranged(seed)
        assert [text[0] for text in shown] == [*"abcd"]
        assert order().form(N, seed) == [*shown, "Answer: the letters in order."]
        paper = order().on_paper(N, seed)
        assert paper.places == 4 and [text[3:] for text in shown] == [*paper.options]


# ---------------------------------------------------------------- tables

LAMPS = Pick(("off", "on", "flashes slowly", "flashes fast"), lambda n: "on", {"off": ("M32", "Off, with {units}?")})
OTHER_LAMPS = Pick(("on", "off"), lambda n: "off")
HOURS = Numeric("00-hours", "", "", CASE, "How long?", "h", lambda n: 2.0 * n.units, "Twice.", HINTS)
WORDS = Free("Ask the store for {units}.", ("who", "where", "when"))


def table(cells=None, **more):
    cells = {("KF1", "lamp"): LAMPS, ("KF1", "time"): HOURS, ("KF2", "lamp"): "dark", ("KF2", "time"): WORDS,
             **(cells or {})}
    return Table("00-table", "A table", "", CASE, "Fill.", ("KF1", "KF2"), ("lamp", "time"), cells,
                 "Full, with {units}.", HINTS, "unit", **more)


@pytest.mark.parametrize(("said", "picked"), [
    ("on", "on"), ("ON.", "on"), ("the on", "on"), ("off", "off"), ("slowly", "flashes slowly"), ("fast", "flashes fast"),
    ("flashesfast", "flashes fast"), ("flashes-fast", "flashes fast"), ("fl", None), ("flashes", None), ("slo", "flashes slowly"),
    ("lo", None), ("flashes s", "flashes slowly"), ("of", "off"), ("x", None)])
def test_an_option_of_a_cell_is_read_by_a_part_that_it_alone_has(said, picked):
    assert LAMPS.judge(said, N, 0, {}).value == picked


def test_a_wrong_pick_is_asked_where_it_belongs():
    right, off, slow, none = (LAMPS.judge(said, N, 0, {}) for said in ("on", "off", "flashes slowly", "blue"))
    assert (right.verdict, right.score) == (Verdict.RIGHT, 1.0)
    assert (off.misconception, off.shows) == ("M32", "Off, with 3?")
    assert slow.shows == "'flashes slowly' belongs to no cell of this table. What is asked here?"
    assert none.shows == "one of off; on; flashes slowly; flashes fast is expected."
    beside = OTHER_LAMPS.among({("KF1", "lamp"): LAMPS, ("KF2", "lamp"): OTHER_LAMPS})
    assert beside.judge("on", N, 0, {}).shows == "'on' belongs to another cell of this table. What is asked here?"
    assert [error.answer for error in LAMPS.known_errors(N)] == ["off"]
    assert LAMPS.on_paper(N, 0).options == ("flashes fast", "flashes slowly", "off", "on")
    assert LAMPS.marked_by(N, 0) == ("d) on",) and LAMPS.separated(N)
    assert not Pick(("a", "b"), lambda n: "c").separated(N)


@pytest.mark.parametrize(("answer", "verdict", "shows", "score"), [
    ({"KF1 / lamp": "on", "KF1 / time": "6 h"}, "RIGHT", "Full, with 3.", 1.0),
    ({"lamp / KF1": "on", "KF1/time": "6 h"}, "RIGHT", "Full, with 3.", 1.0),  # the column may come first
    ({("KF1", "lamp"): "on", ("KF1", "time"): "7 h"}, "PARTLY", "1 of 2 cells. Next: KF1 / time. 7 h is too large", 0.5),
    ({"KF1 / lamp": "on"}, "PARTLY", "1 of 2 cells. The others are open.", 0.5),
    ({"KF1 / lamp": "off"}, "LOOK_AGAIN", "KF1 / lamp. Off, with 3?", 0.0),
    ({"KF1 / lamp": "off", "KF1 / time": "6 h"}, "PARTLY", "1 of 2 cells. Next: KF1 / lamp. Off, with 3?", 0.5),
    ({"KF2 / time": "I ask."}, "PARTLY", "The cells to be marked are open.", 0.0),
    ({"KF2 / lamp": "on"}, "UNCLEAR", "'KF2 / lamp' is no open cell of this table. A cell is named by row and column, "
                                      "as in 'KF1 / lamp'.", 0.0),
    ({}, "BLANK", "", 0.0), ({"KF1 / lamp": ""}, "BLANK", "", 0.0), ("on", "UNCLEAR", "a table", 0.0)])
def test_a_table_is_judged_cell_by_cell(answer, verdict, shows, score):
    judged = table().judge(answer, N, 0, {})
    assert (judged.verdict.name, judged.score) == (verdict, score) and judged.shows.startswith(shows)


def test_a_table_keeps_what_stood_in_it():
    judged = table().judge({"KF1 / lamp": "off", "KF1 / time": "6 h", "KF2 / time": "I ask."}, N, 0, {})
    assert judged.value == {"KF1 / lamp": ("off", "Look again"), "KF1 / time": ("6 h", "Right"),
                            "KF2 / time": ("I ask.", "Noted")}
    assert judged.misconception == "M32" and table().points == 2
    assert table().free_texts(judged.value, N) == (("KF2 / time", "I ask."),)
    assert table().afterwards(judged, N, settled=False) == (
        "Your own words are kept; a model answer comes later.", "")
    assert table().afterwards(judged, N, settled=True)[1].splitlines() == [
        "KF2 / time. Yours: I ask.", "A model answer: Ask the store for 3.", "Rate your own:", "1. who", "2. where",
        "3. when", "By text: rate('00-table', '1 2'), or 'none'."]
    assert table().paper({"lamp / KF1": "o|n"}, N) == (
        "# A table\n\n\n\n| unit | lamp | time |\n| --- | --- | --- |\n| KF1 | o/n |  |\n| KF2 | dark |  |\n")
    assert table().form(N, 0) == [
        "KF2 / lamp: dark", "KF1 / lamp: off, on, flashes slowly, flashes fast", "KF1 / time: a number in h",
        "KF2 / time: your own words", "Answer: {'row / column': 'what stands there', ...}."]
    assert table().marked_by(N, 0)[:2] == ("KF1 / lamp: d) on", "KF1 / time: 6 h")
    (error,) = table().known_errors(N)
    assert error.answer == {("KF1", "lamp"): "off", ("KF1", "time"): "6.0 h", ("KF2", "time"): "Ask the store for 3."}


def test_a_cell_follows_from_the_one_before_it():
    item = table({("KF1", "time"): HOURS, ("KF2", "lamp"): Numeric(
        "00-twice", "", "", CASE, "And twice?", "h", lambda n: 4.0 * n.units, "Four times.", HINTS, follows="00-hours",
        solve_from=lambda n, own: 2 * own)})
    followed = item.judge({"KF1 / time": "7 h", "KF2 / lamp": "14 h"}, N, 0, {})
    assert followed.value["KF2 / lamp"][1] == "Follows"
    assert item.judge({"KF2 / lamp": "14 h"}, N, 0, {}).value["KF2 / lamp"][1] == "Look again"
