"""What has to be whole for something to work: conditions over parts, and ways through wires.

A condition is `True`, `False`, a `Whole` (one thing must be whole), a `Leads` (one unit of the
pair must be allowed to lead) or a `Threshold` (at least k of several conditions must hold).
Conditions are plain frozen values, so they can be evaluated, compared and turned into
availability blocks without any of them knowing about plants.

Conditions stated: everything is monotone (a repaired part never stops a function), and wires
have no direction.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Whole:
    """Ask that the thing of this name is whole.

    >>> Whole("TB1").name
    'TB1'
    """

    name: str


@dataclass(frozen=True)
class Leads:
    """Ask that this unit of the pair is allowed to lead.

    >>> Leads("KF1").unit
    'KF1'
    """

    unit: str


@dataclass(frozen=True)
class Threshold:
    """Ask that at least `k` of the inputs hold.

    >>> Threshold(1, (Whole("GP1"), Whole("GP2"))).k
    1
    """

    k: int
    inputs: tuple[Condition, ...]

    def __post_init__(self) -> None:
        # Conditions hold one another many times over: each is hashed once.
        object.__setattr__(self, "_hash", hash((self.k, self.inputs)))

    def __hash__(self) -> int:
        return self._hash


Condition = bool | Whole | Leads | Threshold


def at_least(k: int, conditions: Iterable[Condition]) -> Condition:
    """Ask for at least `k` of the conditions, with all constants folded away.

    Parameters
    ----------
    k : int
        How many must hold; 0 or less is always true, more than there are is never true.
    conditions : iterable of Condition
        The inputs.

    Returns
    -------
    Condition
        The simplest form: a constant, the only input that is left, or a `Threshold`.

    Examples
    --------
    >>> at_least(1, [False, Whole("GP1")])
    Whole(name='GP1')
    >>> at_least(2, [True, False])
    False
    """
    left = []
    for condition in conditions:
        if condition is True:
            k -= 1
        elif condition is not False:
            left.append(condition)
    if k <= 0:
        return True
    if k > len(left):
        return False
    if k == len(left) or k == 1:
        left = list(dict.fromkeys(left))
        k = len(left) if k > 1 else 1
    if len(left) == 1:
        return left[0]
    return Threshold(k, tuple(left))


def all_of(conditions: Iterable[Condition]) -> Condition:
    """Ask for every one of the conditions.

    >>> all_of([True, Whole("BL1")])
    Whole(name='BL1')
    """
    conditions = tuple(conditions)
    return at_least(len(conditions), conditions)


def any_of(conditions: Iterable[Condition]) -> Condition:
    """Ask for any one of the conditions.

    >>> any_of([])
    False
    """
    return at_least(1, conditions)


def holds(condition: Condition, lost: Callable[[Whole | Leads], bool]) -> bool:
    """Say whether a condition holds while some of its leaves are lost.

    Parameters
    ----------
    condition : Condition
        What is asked.
    lost : callable
        Takes a leaf (`Whole` or `Leads`) and says whether it is lost.

    >>> pumps = any_of([Whole("GP1"), Whole("GP2")])
    >>> holds(pumps, lambda leaf: leaf.name == "GP1")
    True
    """
    if isinstance(condition, bool):
        return condition
    if isinstance(condition, Threshold):
        return sum(holds(each, lost) for each in condition.inputs) >= condition.k
    return not lost(condition)


def stops_alone(condition: Condition) -> set[Whole | Leads]:
    """Return the leaves whose loss alone ends a condition that holds, found in one pass.

    >>> pumps = any_of([Whole("GP1"), Whole("GP2")])
    >>> stops_alone(all_of([Whole("BL1"), pumps]))
    {Whole(name='BL1')}
    """
    if isinstance(condition, bool):
        return set()
    if isinstance(condition, Threshold):
        ended = Counter(leaf for each in condition.inputs for leaf in stops_alone(each))
        spare = len(condition.inputs) - condition.k
        return {leaf for leaf, inputs in ended.items() if inputs > spare}
    return {condition}


def with_leaves(condition: Condition, change: Callable[[Whole | Leads], Condition]) -> Condition:
    """Return a condition with every leaf replaced, constants folded away.

    Parameters
    ----------
    condition : Condition
        What is asked.
    change : callable
        Takes a leaf and returns what stands in its place.

    >>> pumps = any_of([Whole("GP1"), Whole("GP2")])
    >>> with_leaves(pumps, lambda leaf: leaf.name != "GP1" and leaf)
    Whole(name='GP2')
    """
    if isinstance(condition, bool):
        return condition
    if isinstance(condition, Threshold):
        return at_least(condition.k, [with_leaves(each, change) for each in condition.inputs])
    return change(condition)


def as_block(condition: Condition, of: Callable):
    """Return the availability block of a condition; `of` gives that of a leaf."""
    from labkit.availability.blocks import ALWAYS_FAILED, ALWAYS_WORKS, Gate

    if isinstance(condition, bool):
        return ALWAYS_WORKS if condition else ALWAYS_FAILED
    if isinstance(condition, Threshold):
        return Gate(condition.k, tuple(as_block(each, of) for each in condition.inputs))
    return of(condition)


def leaves(condition: Condition) -> tuple[Whole | Leads, ...]:
    """Return the leaves of a condition in reading order, each once.

    >>> [leaf.name for leaf in leaves(all_of([Whole("WF3"), Whole("TF1")]))]
    ['WF3', 'TF1']
    """
    found: dict[Whole | Leads, None] = {}
    waiting, seen = [condition], set()
    while waiting:
        one = waiting.pop()
        if isinstance(one, Threshold):
            if id(one) not in seen:
                seen.add(id(one))
                waiting.extend(reversed(one.inputs))
        elif not isinstance(one, bool):
            found[one] = None
    return tuple(found)


def ways(start: str, end: str, neighbours: Mapping[str, Iterable[str]],
         passes: Callable[[str], bool], most: int = 500) -> tuple[tuple[str, ...], ...]:
    """Find every shortest-in-itself way from one part to another.

    Parameters
    ----------
    start, end : str
        The two ends; they are not part of the answer.
    neighbours : mapping of str to iterable of str
        What each part is wired to, in both directions.
    passes : callable
        Says whether a signal passes through a part.
    most : int
        More ways than this are refused.

    Returns
    -------
    tuple of tuple of str
        The parts between the ends, shortest way first. A way never takes two steps where one
        wire would do, so no way contains another. Empty if there is none.

    Raises
    ------
    ValueError
        If there are more than `most` ways.

    >>> wires = {"KF1": ["WF1"], "WF1": ["KF1", "KF10A"], "KF10A": ["WF1", "KF10"],
    ...          "KF10": ["KF10A"]}
    >>> ways("KF1", "KF10", wires, lambda part: part.startswith(("WF", "KF10A")))
    (('WF1', 'KF10A'),)
    """
    found: list[tuple[str, ...]] = []

    waiting = [((start,), frozenset([start]))]
    while waiting:
        way, near = waiting.pop()
        beside = neighbours.get(way[-1], ())
        if end in beside:
            found.append(way[1:])
            if len(found) > most:
                raise ValueError(f"ways from {start} to {end} must be <= {most}, got more")
            continue
        closed = near.union(beside)
        # A neighbour of an earlier part would have been reached directly from there.
        waiting.extend(((*way, after), closed) for after in beside
                       if after not in near and passes(after))
    return tuple(sorted(found, key=lambda way: (len(way), way)))
