"""The figures of one module from its decision diagram: probabilities, outages, importances.

`labkit.availability.parts` is what to use; this module does the counting for it, and
`labkit.availability.figures` puts the modules of a block together.
"""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from labkit.availability.diagram import FAILED, WORKS, Diagram
from labkit.availability.modules import Module


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
        (from class, to class, changes per hour in the long run), for all that can begin an outage.
    labels : tuple of (str or None)
        How a cut set names each class; None for a class that is never met.
    ends : mapping
        For each condition asked of the variable, `WORKS` or `FAILED` in each class.
    mtbf_h : float or None
        Mean time to failure of a part of two classes; None for a chain.
    course : callable
        Gives `chances` and `flows` at an array of times in hours, each an array; all good at 0.
    fastest_h : float
        The shortest of its mean times in hours.
    """

    name: str
    better: tuple[tuple[int, ...], ...]
    chances: tuple[float, ...]
    flows: tuple[tuple[int, int, float], ...]
    labels: tuple[str | None, ...]
    ends: Mapping[Hashable, tuple[int, ...]]
    mtbf_h: float | None
    course: Callable[[np.ndarray], tuple[Sequence, Sequence]]
    fastest_h: float


@dataclass(frozen=True)
class StandIn:
    """Stand for a whole module in a larger one, as a part that fails when the module does."""

    inside: "Structure"
    better = ((), (0,))
    ends = {None: (WORKS, FAILED)}

    @property
    def chances(self) -> tuple[float, float]:
        """Give the long-run probabilities of "works" and "failed"."""
        return self.inside.availability, self.inside.unavailability

    @property
    def flows(self) -> tuple[tuple[int, int, float], ...]:
        """Give the changes per hour for the worse; what comes back begins no outage."""
        return ((0, 1, sum(self.inside.failures_per_h)),)


class Structure:
    """Hold one module with its variables, and count its figures.

    Parameters
    ----------
    module : Module
    variables : sequence of Variable or StandIn
        What the sources of the module are.
    """

    def __init__(self, module: Module, variables: Sequence[Variable | StandIn]):
        self.variables = tuple(variables)
        self.plain = module.plain
        self.diagram = diagram = Diagram([one.better for one in self.variables])
        functions = [
            diagram.node(level, self.variables[level].ends[condition])
            for level, condition in module.leaves
        ]
        leaves = len(functions)
        for failures, members in module.gates:
            inner = [functions[one if one >= 0 else leaves - 1 - one] for one in members]
            functions.append(diagram.threshold(failures, inner))
        self.root = functions[-1]
        self._memo: dict = {}

    @cached_property
    def chances(self) -> list[tuple[float, ...]]:
        """Give the long-run probability of each class of each variable."""
        return [one.chances for one in self.variables]

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
    def failures_per_h(self) -> np.ndarray:
        """Give the outages per hour that begin with each variable."""
        begun = np.zeros(len(self.variables))
        flows = [one.flows for one in self.variables]
        for level, per_h in self._begun(flows, self._reach, self._lost):
            begun[level] += per_h
        return begun

    def _begun(self, flows: Sequence, reach: Mapping, lost: Callable) -> Iterator[tuple]:
        """Yield for each node its variable and the outages per hour that begin there."""
        for node in self._nodes:
            level, children = self.diagram.level[node], self.diagram.children[node]
            yield level, reach[node] * sum(
                per_h * lost(children[to], children[start]) for start, to, per_h in flows[level])

    @cached_property
    def effects(self) -> dict[str, np.ndarray]:
        """Give the probabilities behind each `Importance`, for each variable.

        "birnbaum", "critical" (the variable is down and alone to blame), "contained" (a minimal
        cut set with the variable is down), "with worst" and "with best" (the module is down
        with the variable in its last and first class), and "begun", outages per hour.
        """
        count = len(self.variables)
        birnbaum, critical = np.zeros(count), np.zeros(count)
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
        return {
            "birnbaum": birnbaum,
            "critical": critical,
            "contained": self._contained(with_worst),
            "with worst": with_worst,
            "with best": with_best,
            "begun": self.failures_per_h,
        }

    def _contained(self, with_worst: np.ndarray) -> np.ndarray:
        if self.plain:
            # Where everything stands once, whatever is down in a failed gate is in such a set.
            return np.array([chances[-1] for chances in self.chances]) * with_worst
        found = self.diagram.containing(self.root)
        known = dict(self._down)
        for function in found:
            self.diagram.probabilities(function, self.chances, FAILED, known)
        return np.array([known[function] for function in found])

    def probability(self, chances: Sequence[Sequence], end: int):
        """Give the probability of `end` with other chances of the classes of each variable."""
        return self.diagram.probabilities(self.root, chances, end)[self.root]

    def outages(self, chances: Sequence[Sequence], flows: Sequence[Sequence]):
        """Give the outages per hour with other chances and flows, numbers or arrays."""
        diagram, root = self.diagram, self.root
        down = diagram.probabilities(root, chances, FAILED)
        up = diagram.probabilities(root, chances, WORKS)
        memo: dict = {}

        def lost(failed: int, works: int):
            return diagram.lost(failed, works, chances, memo, down, up)

        return sum(per_h for _, per_h in self._begun(flows, diagram.reach(root, chances), lost))
