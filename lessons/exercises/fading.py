"""Cases solved in four named steps, of which the learner does the first ones: forward fading.

Novices learn from worked examples whose steps they take over one by one, the first step first
(Moreno, Reisslein and Ozogul 2009, on practice in circuit analysis).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lessons.exercises.item import CALCULATION_STEPS, Case, CaseStep, Item, SteppedCase

__all__ = ["ASKED", "faded"]

ASKED = (0, 1, 2, 4)
"""Steps that the learner does in the worked example and in the three tasks after it."""


def faded(
    cases: Sequence[Case], makers: Sequence[Callable[[Case], Item]], worked: Sequence[str]
) -> tuple[tuple[SteppedCase, ...], tuple[Item, ...]]:
    """Build a worked example and three tasks in which less and less is shown.

    Parameters
    ----------
    cases : sequence of Case
        The example and the three tasks, in order.
    makers : sequence of callable
        For each of the four steps, from a case to the item that asks for it.
    worked : sequence of str
        Templates of the four steps as worked.

    Returns
    -------
    chains, items : tuple
        One chain for each case, and the items of all chains.

    >>> from lessons.exercises.choosing import Choice
    >>> from lessons.exercises.item import Hints
    >>> cases = [Case(f"00-turn-{n}") for n in range(4)]
    >>> step = lambda case: Choice(f"{case.id}.x", "", "", case, "", (), Hints("", "", ""))
    >>> chains, items = faded(cases, [step] * 4, ["", "", "", ""])
    >>> [sum(step.item is not None for step in chain.steps) for chain in chains], len(items)
    ([0, 1, 2, 4], 7)
    """
    chains, items = [], []
    for case, asked in zip(cases, ASKED, strict=True):
        own = [make(case) for make in makers[:asked]]
        names = [item.id for item in own] + [None] * (len(CALCULATION_STEPS) - asked)
        steps = map(CaseStep, CALCULATION_STEPS, names, worked)
        title = f"Your turn {case.id[-1]}" if asked else "Worked example"
        chains.append(SteppedCase(case.id, title, case, tuple(steps)))
        items += own
    return tuple(chains), tuple(items)
