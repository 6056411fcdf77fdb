"""The figures of a block, put together from those of its modules.

A module meets the rest of the block as one part would. So what a variable does to its module is
multiplied by what the module does to the block, from the outside inwards; no figure is worked out
once for each part.
"""

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from functools import cached_property

import numpy as np

from labkit.availability.diagram import FAILED, WORKS
from labkit.availability.modules import inside, modules_of
from labkit.availability.quadrature import quadrature
from labkit.availability.structure import Importance, StandIn, Structure, Variable

# A list of as many takes some 10 s and 1 GB.
MOST_CUT_SETS = 1_000_000


class Figures:
    """Work out the figures of a block from its modules, each when it is asked for."""

    def __init__(self, block):
        modules = modules_of(block)
        conditions: dict[str, list] = {name: [] for name in block.parts}
        for one in inside(block):
            for name in () if one.blocks else one.parts:
                if one._condition not in conditions[name]:
                    conditions[name].append(one._condition)
        self._structures: list[Structure] = []
        for module in modules:
            self._structures.append(Structure(module, [
                StandIn(self._structures[source]) if isinstance(source, int)
                else block.parts[source]._variable(conditions[source])
                for source in module.sources
            ]))
        self._whole = self._structures[-1]

    def long_run(self, figure: str):
        """Ask every module in turn, so that none has to ask the one inside it, however deep."""
        return [getattr(structure, figure) for structure in self._structures][-1]

    def importance(self) -> dict[str, Importance]:
        """Give the record of each part and chain that the block depends on, by its name."""
        down, _ = self.long_run("unavailability"), self.long_run("failures_per_h")
        found: dict[str, Importance] = {}
        # What a module has to be multiplied by: for all of it, for its cut sets; and the
        # unavailability of the block with a module that never fails.
        outer = {self._whole: (1.0, 1.0, 0.0)}
        for structure in reversed(self._structures):
            factor, in_cuts, without = outer[structure]
            for level, one in enumerate(structure.variables):
                effect = {key: float(each[level]) for key, each in structure.effects.items()}
                birnbaum, contained = factor * effect["birnbaum"], in_cuts * effect["contained"]
                with_best = without + factor * effect["with best"]
                if isinstance(one, StandIn):
                    in_down = one.inside.unavailability
                    in_its_cuts = contained / in_down if in_down > 0.0 else 0.0
                    outer[one.inside] = (birnbaum, in_its_cuts, with_best)
                else:
                    found[one.name] = Importance(
                        birnbaum=birnbaum,
                        criticality=_ratio(factor * effect["critical"], down),
                        fussell_vesely=_ratio(contained, down),
                        risk_achievement=_ratio(without + factor * effect["with worst"], down),
                        risk_reduction=_ratio(down, with_best),
                        failures_per_h=factor * effect["begun"],
                    )
        return found

    def no_importance(self) -> Importance:
        """Give the record of a part that the block does not depend on."""
        down = self.long_run("unavailability")
        nothing, same = _ratio(0.0, down), _ratio(down, down)
        return Importance(0.0, nothing, nothing, same, same, 0.0)

    # ------------------------------------------------------------------ minimal cut sets

    @cached_property
    def _vectors(self) -> dict[Structure, int]:
        return {one: one.diagram.minimal_vectors(one.root) for one in self._structures}

    def _members(self, structure: Structure, node: int) -> Iterator[tuple]:
        """Give what each child but the first puts into a cut set: a name or a module."""
        level = structure.diagram.level[node]
        one = structure.variables[level]
        labels = (None, one.inside) if isinstance(one, StandIn) else one.labels
        return zip(labels[1:], structure.diagram.children[node][1:])

    def cut_set_sizes(self, largest: int | None) -> Counter[int]:
        """Count the minimal cut sets by their size, without listing them."""
        counts: dict = {}
        for structure in self._structures:
            root, diagram = self._vectors[structure], structure.diagram
            known = {WORKS: Counter(), FAILED: Counter({0: 1})}
            for node in diagram.nodes_of(root):
                total = Counter(known[diagram.children[node][0]])
                for member, child in self._members(structure, node):
                    sizes = counts[member] if isinstance(member, Structure) else {1: 1}
                    if member is None:
                        continue
                    for (one, many), (two, more) in itertools.product(
                        sizes.items(), known[child].items()
                    ):
                        if largest is None or one + two <= largest:
                            total[one + two] += many * more
                known[node] = total
            counts[structure] = known[root]
        return counts[self._whole]

    @cached_property
    def _fewest(self) -> dict[tuple[Structure, int], float]:
        """Give the fewest members of a cut set from each node on, so that none is begun in vain."""
        fewest: dict = {}
        for structure in self._structures:
            fewest[structure, WORKS], fewest[structure, FAILED] = math.inf, 0
            for node in structure.diagram.nodes_of(self._vectors[structure]):
                found = fewest[structure, structure.diagram.children[node][0]]
                for member, child in self._members(structure, node):
                    found = min(found, self._size(member, fewest) + fewest[structure, child])
                fewest[structure, node] = found
        return fewest

    def _size(self, member, fewest: dict) -> float:
        if isinstance(member, Structure):
            return fewest[member, self._vectors[member]]
        return math.inf if member is None else 1

    def cut_sets(self, largest: int | None) -> tuple[frozenset[str], ...]:
        """List the minimal cut sets of at most `largest` members, sorted by size and names."""
        number = self.cut_set_sizes(largest).total()
        if number > MOST_CUT_SETS:
            raise ValueError(
                f"a list holds at most {MOST_CUT_SETS} minimal cut sets, and there are {number}: "
                f"take a smaller largest"
            )
        most = math.inf if largest is None else largest
        found, fewest = [], self._fewest
        # Names so far, where to go on (a chain of pairs, the innermost first), members to come.
        start = (self._whole, self._vectors[self._whole])
        waiting = [((), (start, None), fewest[start])]
        while waiting:
            names, ((structure, node), after), needed = waiting.pop()
            if len(names) + needed > most or needed == math.inf:
                continue
            if node == FAILED:
                if after is None:
                    found.append(frozenset(names))
                else:
                    waiting.append((names, after, needed))
                continue
            needed -= fewest[structure, node]
            best = structure, structure.diagram.children[node][0]
            waiting.append((names, (best, after), needed + fewest[best]))
            for member, child in self._members(structure, node):
                below = structure, child
                to_come = needed + fewest[below]
                if isinstance(member, Structure):
                    inner = member, self._vectors[member]
                    waiting.append((names, (inner, (below, after)), to_come + fewest[inner]))
                elif member is not None:
                    waiting.append(((*names, member), (below, after), to_come))
        return tuple(sorted(found, key=lambda names: (len(names), sorted(names))))

    # ------------------------------------------------------------------ in time

    def _course(self, t_h: np.ndarray, outages: bool) -> tuple:
        """Give the chances of the block at the times, and its outages per hour if wanted."""
        inner: dict[Structure, tuple] = {}
        for structure in self._structures:
            courses = [
                inner[one.inside] if isinstance(one, StandIn) else one.course(t_h)
                for one in structure.variables
            ]
            chances, flows = [one[0] for one in courses], [one[1] for one in courses]
            found = tuple(structure.probability(chances, end) for end in (WORKS, FAILED))
            # What comes back begins no outage.
            per_h = structure.outages(chances, flows) if outages else None
            inner[structure] = found, ((0, 1, per_h),)
        return inner[self._whole]

    def unavailability_at(self, t_h: np.ndarray) -> np.ndarray:
        """Give the probability of "failed" at the times, all good at 0."""
        (_, failed), _ = self._course(t_h, outages=False)
        return np.zeros(t_h.shape) + failed

    def outages_until(self, t_h: float) -> float:
        """Give the mean number of outages that begin from 0 to a time, all good at 0."""
        variables = [one for each in self._structures for one in each.variables]
        fastest_h = min(
            (one.fastest_h for one in variables if isinstance(one, Variable)), default=t_h
        )
        times_h, weights = quadrature(t_h, fastest_h)
        _, ((_, _, per_h),) = self._course(times_h, outages=True)
        return math.fsum(weights * per_h)

    # ------------------------------------------------------------------ without repair

    def mission(self, t_h: np.ndarray, end: int) -> np.ndarray:
        """Give the probability of `end` after `t_h` without repair, all parts good at 0."""
        self._all_mtbf_h()
        inner: dict[Structure, tuple] = {}
        for structure in self._structures:
            chances = []
            for one in structure.variables:
                if isinstance(one, StandIn):
                    chances.append(inner[one.inside])
                else:
                    spent = t_h / one.mtbf_h
                    chances.append((np.exp(-spent), -np.expm1(-spent)))
            wanted = (end,) if structure is self._whole else (WORKS, FAILED)
            inner[structure] = tuple(structure.probability(chances, one) for one in wanted)
        return np.zeros(t_h.shape) + inner[self._whole][0]

    def _all_mtbf_h(self) -> list[float]:
        variables = [
            one for each in self._structures for one in each.variables if isinstance(one, Variable)
        ]
        for one in variables:
            if one.mtbf_h is None:
                raise ValueError(
                    f"mission figures are for blocks of parts only, got the chain {one.name!r}"
                )
        return [one.mtbf_h for one in variables]

    def mission_mttf_h(self) -> float:
        """Give the mean time to failure without repair, all parts good at 0, in hours."""
        mtbf_h = self._all_mtbf_h()
        if self._whole.root in (WORKS, FAILED):
            return math.inf if self._whole.root == WORKS else 0.0
        # Fine where the first part may fail; after 750 times the longest no part is left.
        first_h = 1.0 / math.fsum(1.0 / one for one in mtbf_h)
        times_h, weights = quadrature(750.0 * max(mtbf_h), first_h)
        return math.fsum(weights * self.mission(times_h, WORKS))


def _ratio(above: float, below: float) -> float:
    if below > 0.0:
        return above / below
    return math.inf if above > 0.0 else math.nan
