"""Cases solved in four named steps, which the learner takes over one after the other.

Novices learn from worked examples whose steps they take over one by one, the first step first
(Moreno, Reisslein and Ozogul 2009, on practice in circuit analysis). What the objective names, to
sort and to calculate, comes again; the sketch is the same in each case, and is asked once.
"""

from collections.abc import Callable, Sequence

from lessons.exercises.item import CALCULATION_STEPS, Case, CaseStep, Item, SteppedCase

ASKED = ((), (0, 1), (1, 2), (1, 2, 3))
"""Steps that the learner does in the worked example and in the three tasks after it, from 0."""


def faded(
    cases: Sequence[Case], makers: Sequence[Callable[[Case], Item]], worked: Sequence[str],
    step_names: Sequence[str] = CALCULATION_STEPS,
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
    step_names : sequence of str
        What the steps are called, where they are not those of a calculation.

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
    ([0, 2, 2, 3], 7)
    """
    chains, items = [], []
    for turn, (case, asked) in enumerate(zip(cases, ASKED, strict=True)):
        own = {place: makers[place](case) for place in asked}
        names = [own[place].id if place in own else None for place in range(len(makers))]
        steps = map(CaseStep, step_names, names, worked)
        title = f"Your turn {turn}" if asked else "Worked example"
        chains.append(SteppedCase(case.id, title, case, tuple(steps)))
        items += own.values()
    return tuple(chains), tuple(items)
