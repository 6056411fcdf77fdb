"""What hidden faults add to the figures of a function: exact for each set of failures that stops it.

A failure that nobody notices waits for the next test, or for the outage that it causes: whoever
then looks for the cause finds it, and every hidden fault of the set that has stopped the function.
From then on each is restored within its own time. So a part in series is never hidden for longer
than its outage lasts, and of two parts of which one is enough the second failure reveals the first.

Each failure of a set is whole, hidden or known; the set is one chain of these states, in which a
hidden failure becomes known at the rate 2 / test interval, and all of them at once when the last
one fails. Sets of one are left out: their figures are those of noticed failures.

Conditions stated: the sets of a function are taken by themselves, so that two of them down at the
same time count twice (rare); a fault is revealed by an outage of the function in question and by
no other; as many faults are repaired at once as there are crews, those of one set sharing them. Not
for a function that stands idle: there
nobody misses it (`labkit.plant.plant.Plant.block`).

References
----------
The chain of one pair of parts is that of `labkit.markov.pair` with both parts hidden in turn;
the sum over the sets is the rare-event approximation of M. Rausand, A. Hoyland, "System
Reliability Theory", 2nd ed., Wiley 2004, chapter 4 (from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

from labkit.availability.blocks import Block, Gate


@dataclass(frozen=True)
class Member:
    """Hold one failure of a set: how often, how long once known, which share is hidden until when.

    >>> Member(1e-5, 4.0, 0.5, 4380.0).noticed_share
    3.9998...e-05
    """

    rate_per_h: float
    down_h: float
    hidden: float = 0.0
    test_interval_h: float = math.inf

    @property
    def noticed_share(self) -> float:
        """Share of time that it is present if every failure is noticed."""
        return self.rate_per_h * self.down_h / (1.0 + self.rate_per_h * self.down_h)


@lru_cache(maxsize=4096)
def set_figures(members: tuple[Member, ...], crews: int = 0) -> tuple[float, float]:
    """Return the share of time that all members of a set are down, and how often per hour.

    With fewer crews than known faults each is restored so much more slowly; 0 is no limit.

    >>> pair = (Member(1e-5, 4.0), Member(1e-5, 4.0))
    >>> down, often = set_figures(pair)
    >>> round(down / (4e-5 / 1.00004) ** 2, 9), round(down / often, 9)
    (1.0, 2.0)
    """
    crews = crews or len(members)
    if crews >= len(members) and not any(each.hidden for each in members):
        down = math.prod(each.noticed_share for each in members)
        return down, down * math.fsum(1.0 / each.down_h for each in members)
    from labkit.markov.chain import MarkovModel

    known = ("known",) * len(members)
    rates: dict[tuple, float] = {}
    for state in itertools.product(("whole", "hidden", "known"), repeat=len(members)):
        if "whole" not in state and state != known:
            continue
        helped = min(1.0, crews / max(1, state.count("known")))
        for place, each in enumerate(members):
            for after, rate in _ways(each, state[place], helped):
                there = (*state[:place], after, *state[place + 1:])
                there = there if "whole" in there else known
                rates[state, there] = rates.get((state, there), 0.0) + rate
    rates = {way: rate for way, rate in rates.items() if rate > 0}
    reached, waiting = set(), [("whole",) * len(members)]
    while waiting:
        state = waiting.pop()
        if state not in reached:
            reached.add(state)
            waiting += [there for here, there in rates if here == state]
    rates = {way: rate for way, rate in rates.items() if way[0] in reached}
    model = MarkovModel(rates, reached - {known})
    return model.unavailability, model.failures_per_h


def _ways(member: Member, state: str, helped: float) -> tuple[tuple[str, float], ...]:
    """Return what may follow for one member, with the rates per hour."""
    if state == "whole":
        return (("hidden", member.rate_per_h * member.hidden),
                ("known", member.rate_per_h * (1.0 - member.hidden)))
    if state == "hidden":
        return (("known", 2.0 / member.test_interval_h),)
    return (("whole", helped / member.down_h),)


class WithHidden(Gate):
    """Stand for a block of noticed failures to which sets with hidden faults add their figures.

    Cut sets and importances are those of the block; down time and outages have the sets in them.

    Parameters
    ----------
    block : Block
        As if every failure were noticed at once.
    added : iterable of (float, float)
        For each set: share of time down and outages per hour beyond those of noticed failures.
    """

    def __init__(self, block: Block, added: Iterable[tuple[float, float]]) -> None:
        super().__init__(1, (block,))
        self.__dict__["added"] = tuple(added)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, WithHidden) and self.added == other.added and super().__eq__(other)

    __hash__ = Gate.__hash__

    @cached_property
    def unavailability(self) -> float:
        """Give the share of time down; a set counts where nothing else has stopped the function."""
        plain = self.blocks[0].unavailability
        return plain - (1.0 - plain) * math.expm1(
            math.fsum(math.log1p(-down) for down, _ in self.added))

    @cached_property
    def availability(self) -> float:
        """Give the share of time that it works."""
        return self.blocks[0].availability * math.prod(1.0 - down for down, _ in self.added)

    @cached_property
    def failures_per_h(self) -> float:
        """Give how often it fails, per hour."""
        return math.fsum([self.blocks[0].failures_per_h, *(often for _, often in self.added)])
