"""What is chosen and what is ordered: how answers are read, which letters stand where, what counts."""

from types import SimpleNamespace

import pytest

from lessons.exercises.choosing import Choice, Option, meant
from lessons.exercises.item import NOT_SURE, Case, Hints
from lessons.exercises.ordering import Order
from lessons.exercises.replies import Verdict

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
