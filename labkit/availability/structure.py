"""The figures of a block from its decision diagram: probabilities, outages, cut sets, importance.

`labkit.availability.parts` is what to use; this module does the counting for it.
"""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from labkit.availability.diagram import FAILED, WORKS, Diagram

__all__ = ["Importance", "Structure", "Variable"]


@dataclass(frozen=True)
class Importance:
    """Hold what one part means to a block; all figures in the long run.

    Attributes
    ----------
    birnbaum : float
        Probability that the block fails with the part failed and works with the part good:
        the rest makes this part decide. 0 to 1. It is also the slope dU/dU(part).
    criticality : float
        Share of the block's unavailability in which the part is down and putting it right alone
        would bring the block back. 0 to 1.
    fussell_vesely : float
        Share of the block's unavailability in which at least one minimal cut set that contains
        the part is down. 0 to 1, exact, not a sum over cut sets.
    risk_achievement : float
        Unavailability with the part failed for good, over the present one. 1 or more.
    risk_reduction : float
        Present unavailability over the one with a part that never fails. 1 or more; infinite
        when the block cannot fail without this part.
    failures_per_h : float
        Outages of the block per hour that begin with this part. They sum to the block's.

    Notes
    -----
    For a chain "failed" is a state in which none of the conditions holds that the diagram asks
    of it, and "good" one in which all of them hold. In a block that never fails the shares have
    no value (nan), since they are shares of nothing.

    References
    ----------
    Rausand and Hoyland (2004), chapter 5; the names risk achievement worth and risk reduction
    worth: W. E. Vesely et al., NUREG/CR-3385 (1983).
    """

    birnbaum: float
    criticality: float
    fussell_vesely: float
    risk_achievement: float
    risk_reduction: float
    failures_per_h: float


@dataclass(frozen=True)
class Variable:
    """Describe one independent variable of a diagram in the long run.

    Attributes
    ----------
    better : tuple of tuple of int
        For each class the classes that are strictly better; class 0 is best, the last is worst.
    chances : tuple of float
        Long-run probability of each class.
    flows : tuple of (int, int, float)
        (from class, to class, changes per hour in the long run).
    labels : tuple of (str or None)
        How a cut set names each class; None for a class that is never met.
    ends : mapping
        For each condition asked of the variable, `WORKS` or `FAILED` in each class.
    mtbf_h : float or None
        Mean time to failure of a part of two classes; None for a chain.
    """

    name: str
    better: tuple[tuple[int, ...], ...]
    chances: tuple[float, ...]
    flows: tuple[tuple[int, int, float], ...]
    labels: tuple[str | None, ...]
    ends: Mapping[Hashable, tuple[int, ...]]
    mtbf_h: float | None


class Structure:
    """Hold a structure function with its variables, and count its figures.

    Parameters
    ----------
    variables : sequence of Variable
        In the order of the diagram.
    build : callable
        Makes the function "the block has failed" in a given `Diagram`.
    """

    def __init__(self, variables: Sequence[Variable], build: Callable[[Diagram], int]):
        self.variables = tuple(variables)
        self.diagram = Diagram([one.better for one in self.variables])
        self.root = build(self.diagram)
        self.chances = [one.chances for one in self.variables]
        self._memo: dict = {}

    @cached_property
    def _down(self) -> dict[int, float]:
        return self.diagram.probabilities(self.root, self.chances, FAILED)

    @cached_property
    def _up(self) -> dict[int, float]:
        return self.diagram.probabilities(self.root, self.chances, WORKS)

    @property
    def unavailability(self) -> float:
        """Give the long-run probability of "failed"."""
        return self._down[self.root]

    @property
    def availability(self) -> float:
        """Give the long-run probability of "works"."""
        return self._up[self.root]

    @cached_property
    def _reach(self) -> dict[int, float]:
        return self.diagram.reach(self.root, self.chances)

    @cached_property
    def _nodes(self) -> list[int]:
        return self.diagram.nodes_of(self.root)

    def _lost(self, failed: int, works: int) -> float:
        return self.diagram.lost(failed, works, self.chances, self._memo, self._down, self._up)

    @cached_property
    def failures_per_h(self) -> tuple[float, ...]:
        """Give the outages per hour that begin with each variable."""
        begun = [0.0] * len(self.variables)
        for node in self._nodes:
            level, children = self.diagram.level[node], self.diagram.children[node]
            begun[level] += self._reach[node] * sum(
                per_h * self._lost(children[to], children[start])
                for start, to, per_h in self.variables[level].flows
            )
        return tuple(begun)

    def importance(self) -> dict[str, Importance]:
        """Give the record of each variable by its name."""
        count = len(self.variables)
        birnbaum, critical = [0.0] * count, [0.0] * count
        with_worst, with_best = np.zeros(count), np.zeros(count)
        for node in self._nodes:
            level, children = self.diagram.level[node], self.diagram.children[node]
            here, best = self._reach[node], children[0]
            birnbaum[level] += here * self._lost(children[-1], best)
            critical[level] += here * sum(
                chance * self._lost(child, best)
                for chance, child in zip(self.chances[level], children)
            )
            with_worst[level] += here * self._down[children[-1]]
            with_best[level] += here * self._down[best]
            # The ways down that pass by a variable count for it whatever its class.
            for chance, child in zip(self.chances[level], children):
                passed = slice(level + 1, self.diagram.level[child])
                weight = here * chance * self._down[child]
                with_worst[passed] += weight
                with_best[passed] += weight
        first = slice(0, self.diagram.level[self.root])
        with_worst[first] += self.unavailability
        with_best[first] += self.unavailability
        down = self.unavailability
        return {
            variable.name: Importance(
                birnbaum=birnbaum[level],
                criticality=_ratio(critical[level], down),
                fussell_vesely=_ratio(self._contained(level), down),
                risk_achievement=_ratio(float(with_worst[level]), down),
                risk_reduction=_ratio(down, float(with_best[level])),
                failures_per_h=self.failures_per_h[level],
            )
            for level, variable in enumerate(self.variables)
        }

    def _contained(self, level: int) -> float:
        """Give the probability that a minimal cut set naming a variable is down."""
        function = self.diagram.containing(self._nodes, self.root, level)
        return self.diagram.probabilities(function, self.chances, FAILED, self._down)[function]

    def cut_sets(self, largest: int | None) -> tuple[frozenset[str], ...]:
        """Give the minimal cut sets of at most `largest` members, sorted by size and names."""
        found = []
        for vector in self.diagram.cut_vectors(self.root, largest or len(self.variables)):
            labels = [self.variables[level].labels[number] for level, number in vector]
            if None not in labels:
                found.append(frozenset(labels))
        return tuple(sorted(found, key=lambda names: (len(names), sorted(names))))

    def mission(self, t_h: np.ndarray, end: int) -> np.ndarray:
        """Give the probability of `end` after `t_h` without repair, all parts good at 0."""
        spent = [t_h / mtbf_h for mtbf_h in self._mtbf_h]
        chances = [(np.exp(-one), -np.expm1(-one)) for one in spent]
        found = self.diagram.probabilities(self.root, chances, end)[self.root]
        return np.zeros(t_h.shape) + found

    @property
    def _mtbf_h(self) -> list[float]:
        for one in self.variables:
            if one.mtbf_h is None:
                raise ValueError(
                    f"mission figures are for blocks of parts only, got the chain {one.name!r}"
                )
        return [one.mtbf_h for one in self.variables]

    def mission_mttf_h(self) -> float:
        """Give the mean time to failure without repair, all parts good at 0, in hours."""
        mtbf_h = self._mtbf_h
        if self.root in (WORKS, FAILED):
            return math.inf if self.root == WORKS else 0.0
        longest_h = max(mtbf_h)
        # R(t) is 1 to 1e-18 before any part can have failed, and 0 when all have.
        earliest = math.log(1e-18 / math.fsum(longest_h / one for one in mtbf_h))
        latest = math.log(750.0)
        intervals = math.ceil(4.0 * (latest - earliest))
        step = (latest - earliest) / intervals
        points = np.arange(intervals + 1)

        def integrand(x):
            t_h = longest_h * np.exp(x)
            return float(np.sum(t_h * self.mission(t_h, WORKS)))

        total = integrand(earliest + step * points)
        mttf_h = step * total
        for _ in range(8):
            total += integrand(earliest + step * (points[:-1] + 0.5))
            step /= 2.0
            points = np.arange(2 * len(points) - 1)
            before, mttf_h = mttf_h, step * total
            if abs(mttf_h - before) <= 1e-13 * mttf_h:
                return mttf_h
        raise ArithmeticError(f"the mean time to failure did not settle, last value {mttf_h} h")


def _ratio(above: float, below: float) -> float:
    if below > 0.0:
        return above / below
    return math.inf if above > 0.0 else math.nan
