"""Lesson 01, one controller: how often is it out, and for how long?"""

from __future__ import annotations

from types import SimpleNamespace

from labkit.availability.parts import Part
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item_file import read_items
from lessons.pictures.first_failures import first_failures_text, lives_h, still_running

__all__ = ["LESSON"]


def _sizes(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from MTBF and MTTR of one part."""
    part = Part("part", mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h)
    return {
        "part": part,
        "down_min": part.downtime_h_per_year * 60,
        "down_h": part.downtime_h_per_year,
        "failures_per_a": part.failures_per_h * HOURS_PER_YEAR,
        "years_between": 1 / (part.failures_per_h * HOURS_PER_YEAR),
        "percent": 100 * part.availability,
        "unavailability": part.unavailability,
        "survives_year": part.mission_reliability(HOURS_PER_YEAR),
    }


def _hundred(numbers: SimpleNamespace) -> dict[str, object]:
    lives = lives_h(numbers.mtbf_h)
    return {
        "lives": lives,
        "left": still_running(lives, numbers.mtbf_h),
        "others": numbers.mtbf_h - 1,
        "share_left": (1 - 1 / numbers.mtbf_h) ** numbers.mtbf_h,
    }


def _turn(numbers: SimpleNamespace) -> dict[str, object]:
    pieces = ("notice_min", "travel_min", "swap_min", "test_min")
    mttr_h = sum(getattr(numbers, piece) for piece in pieces) / 60
    sizes = _sizes(SimpleNamespace(mtbf_h=numbers.mtbf_h, mttr_h=mttr_h))
    return sizes | {
        "mttr_h": mttr_h,
        "swap_h": numbers.swap_min / 60,
        "inside": sizes["down_min"] <= numbers.bound_min,
        "stands": "inside" if sizes["down_min"] <= numbers.bound_min else "outside",
    }


def _promised(numbers: SimpleNamespace) -> dict[str, object]:
    """What an MTBF supports, and what it does not."""
    slow = Part("part", mtbf_h=numbers.mtbf_h, mttr_h=72)
    return {
        "stay": 100 * slow.mission_reliability(HOURS_PER_YEAR),
        "of_100": 100 * (1 - slow.mission_reliability(HOURS_PER_YEAR)),
        "left": 100 * slow.mission_reliability(numbers.mtbf_h),
        "years": numbers.mtbf_h / HOURS_PER_YEAR,
        "slow_percent": 100 * slow.availability,
    }


def _card(numbers: SimpleNamespace) -> dict[str, object]:
    designation, what, mtbf_h, spare_h = numbers.chosen
    shelf = _sizes(SimpleNamespace(mtbf_h=mtbf_h, mttr_h=spare_h))
    ordered = _sizes(SimpleNamespace(mtbf_h=mtbf_h, mttr_h=numbers.ordered_h))
    return {
        "designation": designation, "what": what, "mtbf_h": mtbf_h, "spare_h": spare_h,
        "shelf": shelf["part"], "ordered": ordered["part"],
        "shelf_min": shelf["down_min"], "ordered_min": ordered["down_min"],
        "ratio": ordered["down_min"] / shelf["down_min"],
    }


LESSON = read_items(__file__, {
    "Part": Part,
    "SimpleNamespace": SimpleNamespace,
    "card": _card,
    "first_failures_text": first_failures_text,
    "hundred": _hundred,
    "promised": _promised,
    "sizes": _sizes,
    "still_running": still_running,
    "turn": _turn,
})
