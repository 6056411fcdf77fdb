"""What hidden faults add to the figures of a function: exact for each set of failures that stops it.

A failure that nobody notices waits for the next test, or for the outage that it causes: whoever
then looks for the cause finds it, and every hidden fault of the set that has stopped the function.
From then on each is restored within its own time. So a part in series is never hidden for longer
than its outage lasts, and of two parts of which one is enough the second failure reveals the first.

Each failure of a set is whole, hidden or known; the set is one chain of these states, in which a
hidden failure becomes known at the rate 2 / test interval, and all of them at once when the last
one fails. With tests at fixed times the last failure finds up to 14 % more of them, most where it
comes three times in an interval. What no test finds is hidden in a state of its own, until the
overhaul: the next test is as blind to it as the last one. Sets of one are left out: their figures
are those of noticed failures.

Conditions stated: the sets of a function are taken by themselves, so that two of them down at the
same time count twice (rare), and what one of them reveals is still hidden in the others: both make
the figures rather too large; a fault is revealed by an outage of the function in question and by
no other; as many faults are repaired at once as there are crews, those of one set sharing them. For
a function that stands idle, which nobody misses, the crews alone count here: what is hidden stands
in the plain block (`labkit.plant.plant.Plant.block`).

References
----------
The chain of one pair of parts is that of `labkit.markov.pair` with both parts hidden in turn;
the sum over the sets is the rare-event approximation of M. Rausand, A. Hoyland, "System
Reliability Theory", 2nd ed., Wiley 2004, chapter 4 (from memory).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

from labkit.availability.blocks import Block, Gate
from labkit.availability.structure import Importance


@dataclass(frozen=True)
class Member:
    """Hold one failure of a set: how often, how long once known, which share is hidden until when.

    The share `missed` of what is hidden is found by no test.

    A repair that waits for its spare, `waits_h` of `down_h`, keeps no crew meanwhile. The share
    `late` of all comes while the function is lost already, and begins no outage.

    >>> Member(1e-5, 4.0, 0.5, 4380.0).noticed_share
    3.9998...e-05
    """

    rate_per_h: float
    down_h: float
    hidden: float = 0.0
    test_interval_h: float = math.inf
    waits_h: float = 0.0
    missed: float = 0.0
    overhaul_interval_h: float = math.inf
    late: float = 0.0

    @property
    def in_order(self) -> tuple[float, ...]:
        """By what members are put in order, so that sets of like failures are one set."""
        return tuple(vars(self).values())

    @property
    def noticed_share(self) -> float:
        """Share of time that it is present if every failure is noticed."""
        return self.rate_per_h * self.down_h / (1.0 + self.rate_per_h * self.down_h)


def set_figures(members: Iterable[Member], crews: int = 0) -> tuple[float, float]:
    """Return the share of time that all members of a set are down, and how often per hour.

    With fewer crews than known faults each is restored so much more slowly; 0 is no limit.

    >>> pair = (Member(1e-5, 4.0), Member(1e-5, 4.0))
    >>> down, often = set_figures(pair)
    >>> round(down / (4e-5 / 1.00004) ** 2, 9), round(down / often, 9)
    (1.0, 2.0)
    """
    down, begun = _set_figures(tuple(sorted(members, key=lambda each: each.in_order)), crews)
    return down, math.fsum(begun)


@lru_cache(maxsize=4096)
def _set_figures(members: tuple[Member, ...], crews: int = 0) -> tuple[float, tuple[float, ...]]:
    """Return the share of time down, and how often each member is the last to fail, per hour."""
    crews = crews or len(members)
    if crews >= len(members) and not any(each.hidden for each in members):
        down = math.prod(each.noticed_share for each in members)
        return down, tuple(down / each.down_h for each in members)
    from labkit.markov.chain import MarkovModel

    known = ("known",) * len(members)
    rates: dict[tuple, float] = {}
    reached = {("whole",) * len(members): None}
    waiting = [*reached]
    while waiting:
        state = waiting.pop()
        helped = min(1.0, crews / max(1, state.count("known")))
        for place, each in enumerate(members):
            for after, rate in _ways(each, state[place], helped):
                there = (*state[:place], after, *state[place + 1:])
                there = there if "whole" in there else known
                if rate > 0:
                    rates[state, there] = rates.get((state, there), 0.0) + rate
                    if there not in reached:
                        reached[there] = None
                        waiting.append(there)
    model = MarkovModel(rates, [state for state in reached if state != known])
    share = dict(zip(model.states, map(float, model.steady_state()), strict=True))
    begun = [0.0] * len(members)
    for (here, there), rate in rates.items():
        if there == known:
            begun[here.index("whole")] += share[here] * rate
    return model.unavailability, tuple(begun)


def _ways(member: Member, state: str, helped: float) -> tuple[tuple[str, float], ...]:
    """Return what may follow for one member, with the rates per hour."""
    if state == "whole":
        unseen_per_h = member.rate_per_h * member.hidden
        return (("hidden", unseen_per_h * (1.0 - member.missed)),
                ("missed", unseen_per_h * member.missed),
                ("known", member.rate_per_h * (1.0 - member.hidden)))
    if state in ("hidden", "missed"):
        found_h = member.test_interval_h if state == "hidden" else member.overhaul_interval_h
        return (("known", 2.0 / found_h),)
    return (("whole", 1.0 / (member.waits_h + (member.down_h - member.waits_h) / helped)),)


@dataclass(frozen=True)
class HiddenSet:
    """Hold a set with hidden failures, as it is and as the plain block has it.

    Parameters
    ----------
    names : tuple of str
        Names of its parts and of its chain in the block.
    members, noticed : tuple of Member
        As it is, and as if every failure were noticed at once; in the order of the names.

    >>> HiddenSet(("a", "b"), (Member(1e-5, 4.0),) * 2, (Member(1e-5, 4.0),) * 2).down
    0.0
    """

    names: tuple[str, ...]
    members: tuple[Member, ...]
    noticed: tuple[Member, ...]
    crews: int = 0

    @property
    def down(self) -> float:
        """Share of time down beyond that of noticed failures, of the time that these leave."""
        noticed = _set_figures(self.noticed)[0]
        return (_set_figures(self.members, self.crews)[0] - noticed) / (1.0 - noticed)

    @property
    def begun_per_h(self) -> dict[str, float]:
        """How often each member is the last to fail, per hour, beyond noticed failures."""
        here, noticed = _set_figures(self.members, self.crews)[1], _set_figures(self.noticed)[1]
        return {name: (1.0 - member.late) * (often - as_noticed) for name, member, often, as_noticed in zip(
            self.names, self.members, here, noticed, strict=True)}

    def without(self, name: str) -> "HiddenSet":
        """Return what is left of the set when one of them is down for good, and known to be."""
        left = [place for place, each in enumerate(self.names) if each != name]
        return HiddenSet(*(tuple(values[place] for place in left) for values in (
            self.names, self.members, self.noticed)), self.crews)


class WithHidden(Gate):
    """Stand for a block of noticed failures to which sets with hidden faults add their figures.

    Cut sets are those of the block; down time, outages and importances have the sets in them.

    Parameters
    ----------
    block : Block
        As if every failure were noticed at once.
    sets : iterable of HiddenSet
        What adds to it.
    """

    def __init__(self, block: Block, sets: Iterable[HiddenSet]) -> None:
        super().__init__(1, (block,))
        self.__dict__["sets"] = tuple(sets)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, WithHidden) and self.sets == other.sets and super().__eq__(other)

    __hash__ = Gate.__hash__

    @cached_property
    def unavailability(self) -> float:
        """Give the share of time down; a set counts where nothing else has stopped the function."""
        return _with(self.blocks[0].unavailability, self.sets)

    @cached_property
    def availability(self) -> float:
        """Give the share of time that it works."""
        return self.blocks[0].availability * math.prod(1.0 - each.down for each in self.sets)

    @cached_property
    def failures_per_h(self) -> float:
        """Give how often it fails, per hour."""
        return math.fsum([self.blocks[0].failures_per_h, *(
            often for each in self.sets for often in each.begun_per_h.values())])

    @cached_property
    def _importance(self) -> dict[str, Importance]:
        return {name: self._of(name, plain) for name, plain in self.blocks[0].importance().items()}

    def _of(self, name: str, plain: Importance) -> Importance:
        """Return what one of its parts means, from the block with that part good and failed."""
        block, down = self.blocks[0].unavailability, self.unavailability
        own = [each for each in self.sets if name in each.names]
        others = [each for each in self.sets if name not in each.names]
        left = [each.without(name) for each in own]
        good = _with(block / plain.risk_reduction, others)
        # a set is none any more where part of it is enough
        failed = _with(block * plain.risk_achievement, [*left, *(
            each for each in others if not any({*less.names} <= {*each.names} for less in left))])
        return Importance(
            birnbaum=failed - good, criticality=1.0 - good / down,
            fussell_vesely=_with(block * plain.fussell_vesely, own) / down,
            risk_achievement=failed / down, risk_reduction=down / good if good > 0 else math.inf,
            failures_per_h=math.fsum([plain.failures_per_h, *(
                each.begun_per_h[name] for each in own)]))


def _with(plain: float, sets: Iterable[HiddenSet]) -> float:
    """Return the share of time down of a block and of sets beside it."""
    return plain - (1.0 - plain) * math.expm1(
        math.fsum(math.log1p(-each.down) for each in sets))
