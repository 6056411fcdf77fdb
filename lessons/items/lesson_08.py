"""Lesson 08, the pair in numbers: what does the second controller buy?"""

from dataclasses import replace
from types import SimpleNamespace

from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.flaws import Flaws, flaw_rows, flaws_text, years_in_words
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item_file import read_items
from lessons.exercises.misconceptions import misconception

YEAR_MIN = HOURS_PER_YEAR * 60
REAL = Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9)


def _down_min_of(chain: MarkovModel) -> float:
    return chain.unavailability * YEAR_MIN


VERSIONS = {
    "one controller, spare on the shelf": REAL.single,
    "one controller, spare to be ordered": replace(REAL, mttr_h=72.0).single,
    "ideal pair": Flaws().pair,
    "pair as it is, spare on the shelf": REAL.pair,
    "pair as it is, spare to be ordered": replace(REAL, mttr_h=72.0).pair,
}


def _years_between(chain: MarkovModel) -> float:
    return 1 / (chain.failures_per_h * HOURS_PER_YEAR)


def _compared(numbers: SimpleNamespace) -> dict[str, object]:
    one, one_ordered, ideal, pair, ordered = VERSIONS.values()
    return {
        "one_min": _down_min_of(one), "one_a": _years_between(one),
        "one_ordered_a": _years_between(one_ordered),
        "ideal_min": _down_min_of(ideal),
        "ideal_a": years_in_words(_years_between(ideal)).removesuffix(" years"),
        "pair_min": _down_min_of(pair), "ordered_min": _down_min_of(ordered),
    }


LESSON = read_items(__file__, globals())
