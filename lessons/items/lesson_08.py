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


def _buys(numbers: SimpleNamespace) -> dict[str, object]:
    one, ideal, shared, failed, silent, real = flaw_rows(REAL)
    return {
        "one_min": one.down_min_per_a, "real_min": real.down_min_per_a,
        "ideal_s": ideal.down_min_per_a * 60, "shared_min": shared.down_min_per_a,
        "half_min": one.down_min_per_a / 2,
        "failed_per_a": 1 / failed.years_between, "silent_per_a": 1 / silent.years_between,
        "seen": flaws_text(REAL),
    }


def _spend(numbers: SimpleNamespace) -> dict[str, object]:
    def minutes(shared: float, coverage: float, seen: float) -> float:
        return _down_min_of(redundant_pair(numbers.mtbf_h, 4, common_cause=shared, coverage=coverage,
                                        diagnosed=seen))

    now = minutes(0.05, 0.97, 0.9)
    saved = {"causes": now - minutes(0.02, 0.97, 0.9), "taken": now - minutes(0.05, 0.99, 0.9),
             "seen": now - minutes(0.05, 0.97, 0.99)}
    return {f"save_{name}": value for name, value in saved.items()} | {
        "now_min": now, "best": max(saved, key=saved.__getitem__)}


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
