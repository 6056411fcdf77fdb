"""Cases solved in four named steps, of which the learner does the first ones: forward fading.

Novices learn from worked examples whose steps they take over one by one, the first step first
(Moreno, Reisslein and Ozogul 2009, on practice in circuit analysis).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import SimpleNamespace

from lessons.exercises.choosing import Choice, Option
from lessons.exercises.item import CALCULATION_STEPS, Case, CaseStep, Hints, Item, SteppedCase

__all__ = ["ASKED", "OTHER_UNITS", "against_bound", "faded"]

ASKED = (0, 1, 2, 4)
"""Steps that the learner does in the worked example and in the three tasks after it."""

OTHER_UNITS = Option(
    "mixed", "neither, since the units do not match",
    "Both are a time per year. What is each of them in minutes a year?", misconception="S01",
)
"""The third option where result and bound are both a time per year."""


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

    Examples
    --------
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


def against_bound(
    case: Case,
    objective: str,
    *,
    result: str,
    bound: str,
    inside: Callable[[SimpleNamespace], bool],
    errors: tuple[str, str],
    route: str,
    then: tuple[str, str] = ("so that it is accepted", "so that it is refused"),
    third: Option = OTHER_UNITS,
) -> Choice:
    """Build the step *Compare*: the result of the step before against a bound.

    Parameters
    ----------
    case : Case
        Situation and numbers, which the step shares with those before it.
    objective : str
        The objective that it serves.
    result, bound : str
        Templates of both, each with its unit.
    inside : callable
        From the numbers to True where the result keeps the bound.
    errors : pair of str
        Misconceptions that "inside" and "outside" point to where they are chosen by mistake.
    route : str
        Template of the step as worked.
    then : pair of str
        What follows from "inside" and from "outside".
    third : Option
        An option that is never right.

    Returns
    -------
    Choice
        The item ``<case>.compare``.

    Examples
    --------
    >>> item = against_bound(Case("00"), "", result="{a} h", bound="{b} h",
    ...     inside=lambda n: n.a <= n.b, errors=("M09", "S02"), route="")
    >>> item.judge("inside", SimpleNamespace(a=2.0, b=3.0), 0, {}).shows
    '2 h against 3 h.'
    """
    reason, question = f"{result} against {bound}.", f"Which is larger: your result, or {bound}?"
    return Choice(
        f"{case.id}.compare", "Compare", objective, case,
        "How does the result stand against the bound?",
        (
            Option(
                "inside", f"inside the bound, {then[0]}", reason, inside, errors[0], question
            ),
            Option(
                "outside", f"outside the bound, {then[1]}", reason,
                lambda n: not inside(n), errors[1], question,
            ),
            third,
        ),
        Hints(
            "Look at both numbers in one unit.",
            "Inside means: result is less than or equal to the bound.",
            route,
        ),
    )
