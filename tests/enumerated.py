"""Blocks worked out the slow way: every state of every part, in fractions.

Nothing of the decision diagrams is used here. A block is described by nested tuples:

("part", name), ("chain", set of states), ("gate", k, [descriptions])
"""

import itertools
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from labkit.availability.blocks import Block
from labkit.availability.parts import Chain, Part, at_least

CHAIN = "chain"


@dataclass(frozen=True)
class Weighted:
    """A chain in balance from state to state, so that its long run is its weights.

    The rate from s to r is flow[s, r] / weight[s], and flow is the same both ways.
    """

    weights: dict
    flow: dict

    @property
    def states(self):
        return tuple(self.weights)

    @property
    def whole(self):
        return sum(self.weights.values())

    def chance(self, state):
        return Fraction(self.weights[state], self.whole)

    def per_h(self, start, to):
        return Fraction(self.flow.get(frozenset({start, to}), 0), self.whole)

    def steady_state(self):
        return np.array([float(self.chance(state)) for state in self.states])

    @cached_property
    def generator(self):
        rates = np.array(
            [
                [0.0 if s == r else float(self.per_h(s, r) / self.chance(s)) for r in self.states]
                for s in self.states
            ]
        )
        return rates - np.diag(rates.sum(axis=1))


@dataclass(frozen=True)
class Enumerated:
    """A description with its numbers: `parts` name -> (mtbf_h, mttr_h), both whole numbers."""

    description: tuple
    parts: dict
    model: Weighted | None = None

    @cached_property
    def chain(self):
        return Chain(CHAIN, self.model)

    def block(self, description=None) -> Block:
        """Build the block as a user would."""
        kind, *rest = description or self.description
        if kind == "part":
            mtbf_h, mttr_h = self.parts[rest[0]]
            return Part(rest[0], mtbf_h=mtbf_h, mttr_h=mttr_h)
        if kind == "chain":
            return self.chain.when(rest[0])
        return at_least(rest[0], *map(self.block, rest[1]))

    @cached_property
    def used(self):
        found, conditions = set(), []

        def look(description):
            kind, *rest = description
            if kind == "part":
                found.add(rest[0])
            elif kind == "chain":
                found.add(CHAIN)
                if rest[0] not in conditions:
                    conditions.append(rest[0])
            else:
                for inner in rest[1]:
                    look(inner)

        look(self.description)
        return found, conditions

    @property
    def names(self):
        return sorted(self.used[0])

    def classes(self, name):
        """Values of a variable: 0 good and 1 failed, or the set of conditions that hold."""
        if name != CHAIN:
            return [0, 1]
        return list(dict.fromkeys(self.holds(state) for state in self.model.states))

    def holds(self, state):
        return frozenset(k for k, wanted in enumerate(self.used[1]) if state in wanted)

    def best(self, name):
        return frozenset(range(len(self.used[1]))) if name == CHAIN else 0

    def worst(self, name):
        return frozenset() if name == CHAIN else 1

    def not_worse(self, name, one, two):
        return one >= two if name == CHAIN else one <= two

    def works(self, values, description=None):
        kind, *rest = description or self.description
        if kind == "part":
            return values[rest[0]] == 0
        if kind == "chain":
            return self.used[1].index(rest[0]) in values[CHAIN]
        return sum(self.works(values, inner) for inner in rest[1]) >= rest[0]

    def chance(self, name, value):
        if name == CHAIN:
            states = [s for s in self.model.states if self.holds(s) == value]
            return sum((self.model.chance(s) for s in states), Fraction(0))
        mtbf_h, mttr_h = self.parts[name]
        return Fraction(mttr_h if value else mtbf_h, mtbf_h + mttr_h)

    def per_h(self, name, start, to):
        """Changes per hour from one value to another in the long run."""
        if name == CHAIN:
            return sum(
                (
                    self.model.per_h(s, r)
                    for s in self.model.states
                    for r in self.model.states
                    if s != r and self.holds(s) == start and self.holds(r) == to
                ),
                Fraction(0),
            )
        return Fraction(1, sum(self.parts[name]))

    def everything(self, without=()):
        """Go through all states: (values, probability)."""
        names = [name for name in self.names if name not in without]
        for values in itertools.product(*(self.classes(name) for name in names)):
            state = dict(zip(names, values, strict=True))
            chance = Fraction(1)
            for name, value in state.items():
                chance *= self.chance(name, value)
            yield state, chance

    def probability(self, event, without=()):
        return sum(
            (chance for state, chance in self.everything(without) if event(state)), Fraction(0)
        )

    @cached_property
    def unavailability(self):
        return self.probability(lambda state: not self.works(state))

    def begun_by(self, name):
        total = Fraction(0)
        for start, to in itertools.permutations(self.classes(name), 2):

            def decides(state, start=start, to=to):
                return self.works({**state, name: start}) and not self.works({**state, name: to})

            total += self.per_h(name, start, to) * self.probability(decides, (name,))
        return total

    def birnbaum(self, name):
        def decides(state):
            good, failed = {name: self.best(name)}, {name: self.worst(name)}
            return self.works(state | good) and not self.works(state | failed)

        return self.probability(decides, (name,))

    def critical(self, name):
        def decides(state):
            return not self.works(state) and self.works({**state, name: self.best(name)})

        return self.probability(decides)

    def down_with(self, name, value):
        return self.probability(lambda state: not self.works({**state, name: value}), (name,))

    @cached_property
    def cut_vectors(self):
        """Minimal failing vectors over the real values and the best, as tuples of values."""
        names = self.names
        domain = [list(dict.fromkeys([self.best(n), *self.classes(n)])) for n in names]
        failing = [
            vector
            for vector in itertools.product(*domain)
            if not self.works(dict(zip(names, vector, strict=True)))
        ]
        return [
            vector
            for vector in failing
            if not any(other != vector and self.below(other, vector) for other in failing)
        ]

    def below(self, one, two):
        return all(map(self.not_worse, self.names, one, two))

    def cut_sets(self):
        found = []
        for vector in self.cut_vectors:
            members = []
            for name, value in zip(self.names, vector, strict=True):
                if value == self.best(name):
                    continue
                if name == CHAIN and len(self.used[1]) > 1:
                    states = [str(s) for s in self.model.states if self.holds(s) == value]
                    members.append(f"{CHAIN}: {' or '.join(states)}")
                else:
                    members.append(name)
            found.append(frozenset(members))
        return tuple(sorted(found, key=lambda names: (len(names), sorted(names))))

    def contained(self, name):
        """Probability that a minimal cut vector that names this variable is down."""
        place = self.names.index(name)
        naming = [vector for vector in self.cut_vectors if vector[place] != self.best(name)]

        def down(state):
            present = tuple(state[each] for each in self.names)
            return any(self.below(vector, present) for vector in naming)

        return self.probability(down)

    def mission_mttf_h(self):
        """Mean time to failure of parts without repair: each product of exponentials by itself."""
        total = Fraction(0)
        for values in itertools.product([0, 1], repeat=len(self.names)):
            state = dict(zip(self.names, values, strict=True))
            if not self.works(state):
                continue
            rate = {name: Fraction(1, self.parts[name][0]) for name in self.names}
            alive = sum(rate[name] for name in self.names if not state[name])
            failed = [rate[name] for name in self.names if state[name]]
            for some in itertools.product([0, 1], repeat=len(failed)):
                extra = sum(r for r, taken in zip(failed, some, strict=True) if taken)
                total += Fraction((-1) ** sum(some)) / (alive + extra)
        return total
