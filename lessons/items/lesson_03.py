"""Lesson 03, two states in time: when does the long run begin?"""

import functools
import math
from types import SimpleNamespace

import numpy as np

from labkit.availability.parts import Part
from labkit.markov.chain import two_state
from labkit.simulation.histories import chain_history
from labkit.simulation.runs import simulate_chain
from lessons.exercises.item_file import read_items

NEAR = 0.05


def _near_h_of(mtbf_h: float, mttr_h: float) -> float:
    """Time from which on U(t), from a good start, is within 5 % of its long run."""
    return math.log(1 / NEAR) / (1 / mtbf_h + 1 / mttr_h)


def _down(mtbf_h: float, mttr_h: float, t_h: float, start: str = "up") -> float:
    """U(t) of one part by the chain."""
    return float(two_state(mtbf_h, mttr_h).unavailability_at(t_h, start=start))


@functools.cache
def _changes_late(mtbf_h: float, mttr_h: float, seed: int = 1, shown: int = 8) -> int:
    """How many of the histories first drawn change their state after the long run has begun."""
    model, source = two_state(mtbf_h, mttr_h), np.random.default_rng(seed)
    lives = [chain_history(model, 12 * mttr_h, source) for _ in range(shown)]
    return sum(life.at_h[-1] > _near_h_of(mtbf_h, mttr_h) for life in lives)


def _settling_text(numbers: SimpleNamespace) -> str:
    mtbf_h, mttr_h = numbers.mtbf_h, numbers.mttr_h
    lines = [
        f"after {t_h:3.0f} h: U = {_down(mtbf_h, mttr_h, t_h):.4f} from a start up, "
        f"{_down(mtbf_h, mttr_h, t_h, 'down'):.4f} from a start down"
        for t_h in (0, mttr_h, 2 * mttr_h, 3 * mttr_h, 6 * mttr_h, 12 * mttr_h)
    ]
    lines.append(f"long run: U = {two_state(mtbf_h, mttr_h).unavailability:.4f}")
    for what, mtbf, mttr in (("these times", 1, 1), ("twice the MTTR", 1, 2),
                             ("twice the MTBF", 2, 1)):
        near_h = _near_h_of(mtbf * mtbf_h, mttr * mttr_h)
        lines.append(f"{what}: within 5 % of the long run from {near_h:.0f} h on")
    lines.append(
        f"{_changes_late(mtbf_h, mttr_h)} of 8 drawn histories still change after that"
    )
    return "\n".join(lines)


@functools.cache
def _drawn(seed: int, lives: int) -> SimpleNamespace:
    model = two_state(100, 10)
    run = simulate_chain(model, 500, lives, np.random.default_rng(seed), progress=None, workers=1)
    found = run.unavailability
    exact = float(model.interval_unavailability(500))
    return SimpleNamespace(
        point=found.point, lower=found.lower, upper=found.upper, exact=exact,
        inside=found.lower <= exact <= found.upper,
    )


LESSON = read_items(__file__, globals())
