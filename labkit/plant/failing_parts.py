"""What can fail in a plant, how often and for how long, and which part of it nobody notices.

Twins have a part of their failures in common (beta factor): each keeps the share
1 - common_cause for itself, and one more thing, named after all of them, takes the rest. Where
twins differ, the common rate is counted from the smaller failure rate and restoration takes the
longer time. Of twins of which only one matters to a function, that one has its full rate.

A part with a battery works on while its feeds are gone: what takes them counts only as often as it
lasts longer than the battery, and for as long as it then goes on. Where parts behind different
batteries hang on one failure, its cuts are told apart by length, up to the length that alone stops
the function.

Planned work takes its parts out like an event that everybody knows of. A start that fails takes
the whole group of a changeover out, until it is started by hand or repaired.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from labkit.arguments import instance
from labkit.plant import watching
from labkit.plant.plant_data import Changeover
from labkit.plant.wired_parts import WiredParts
from labkit.plant.wiring import (
    Condition,
    Leads,
    Whole,
    all_of,
    holds,
    leaves,
    stops_alone,
    with_leaves,
)

# What comes more seldom, such as a cut as long as a battery of days, never comes.
SELDOM_PER_H = 1e-45


@dataclass(frozen=True)
class Failure:
    """Hold a single failure that can come.

    Parameters
    ----------
    name : str
        The designation, or the name of what several parts have in common.
    parts : tuple of str
        Designations of the parts that it takes.
    rate_per_h : float
        How often it comes, per hour.
    down_h : float
        How long it lasts on average, hours.
    waits_h : float
        How much of that it waits for a spare, hours.

    >>> Failure("BL1", ("BL1",), 1 / 150_000, 3.0).parts
    ('BL1',)
    """

    name: str
    parts: tuple[str, ...]
    rate_per_h: float
    down_h: float
    waits_h: float = 0.0


@dataclass(frozen=True)
class Cut:
    """Hold which lengths of a failure count, and from when on: those between two limits.

    >>> Cut("Q0", 4.0).name
    'Q0 longer than 4 h'
    """

    failure: str
    from_h: float
    to_h: float = math.inf

    @property
    def name(self) -> str:
        """The failure, and its lengths in words."""
        if self.to_h == math.inf:
            return f"{self.failure} longer than {self.from_h:g} h"
        span = f"from {self.from_h:g} to {self.to_h:g}" if self.from_h else f"up to {self.to_h:g}"
        return f"{self.failure} {span} h"

    def of(self, failure: Failure, kinds: Iterable[tuple[float, float]]) -> Failure:
        """Return what is left of a failure; kinds are shares and mean lengths of its cuts.

        >>> cut = Cut("Q0", 4.0).of(Failure("Q0", ("Q0",), 1e-3, 2.0), ())
        >>> round(cut.rate_per_h / 1e-3 - math.exp(-2.0), 12), cut.down_h
        (0.0, 2.0)
        """
        rate_per_h = down = 0.0
        for share, mean_h in kinds or [(1.0, failure.down_h)]:
            often = share * failure.rate_per_h * (
                math.exp(-self.from_h / mean_h) - math.exp(-self.to_h / mean_h))
            if often < SELDOM_PER_H:
                continue
            rate_per_h += often
            # the hours between the limits of every cut, of those too that go on beyond them
            down += often * mean_h
        mean_h = down / rate_per_h if rate_per_h > 0 else failure.down_h
        return replace(failure, name=self.name, rate_per_h=rate_per_h, down_h=mean_h,
                       waits_h=failure.waits_h * mean_h / failure.down_h)


@dataclass(frozen=True, eq=False)
class FailingParts(WiredParts):
    """Say what can fail in a plant, and of a condition, which failures it speaks of."""

    _watched: dict[str, float] = field(default_factory=dict, init=False, repr=False)
    # failures of which only what is longer than a battery counts
    _cuts: dict[str, Cut] = field(default_factory=dict, init=False, repr=False)

    def single_failures(self, condition: Condition) -> dict[str, Failure]:
        """Return by name every single failure that a condition speaks of, without the pair.

        Parameters
        ----------
        condition : Condition
            From `condition`.

        Returns
        -------
        dict of str to Failure

        Examples
        --------
        >>> from labkit import load_plant
        >>> plant = load_plant()
        >>> found = plant.single_failures(plant.condition("see and act"))
        >>> found["PH1"].down_h
        8.0
        """
        common = self._common(condition)
        found = {leaf.name: self._single(leaf, common) for leaf in leaves(condition)
                 if isinstance(leaf, Whole)}
        return {name: failure for name, failure in found.items() if failure.rate_per_h > 0}

    def _single(self, leaf: Whole, common: Mapping[str, Failure]) -> Failure:
        """Return the failure that a leaf of a condition stands for."""
        name = self._failure_of(leaf.name)
        failure = common.get(name) or Failure(
            name, (name,), self._own_rate_per_h(name, common), self.parts[name].mttr_h,
            self.parts[name].waits_h)
        return failure if leaf.name not in self._cuts else self._cuts[leaf.name].of(failure, [
            (share, mean_h) for _, share, mean_h in self._kinds_of(failure)])

    def _own_rate_per_h(self, name: str, common: Mapping[str, Failure]) -> float:
        """Return how often a part fails by itself, without what it has in common with twins."""
        rate = self.parts[name].failure_rate_per_h
        for group in self.twins:
            if name in group.parts and group.name in common:
                rate -= common[group.name].rate_per_h
        return rate

    # ------------------------------------------------------------ what several parts have in common

    def _common(self, condition: Condition) -> dict[str, Failure]:
        """Return by name what several of the parts in a condition have in common."""
        matter = {leaf.unit if isinstance(leaf, Leads) else self._failure_of(leaf.name)
                  for leaf in leaves(condition)}
        common = {}
        for group in self.twins:
            alike = tuple(name for name in group.parts if name in matter)
            if len(alike) < 2 and group.name in matter:
                # With nothing but common failures the twins themselves stand nowhere.
                alike = group.parts
            if len(alike) >= 2 and group.common_cause > 0:
                parts = [self.parts[name] for name in alike]
                common[group.name] = Failure(
                    group.name, alike,
                    group.common_cause * min(part.failure_rate_per_h for part in parts),
                    *max((part.mttr_h, part.waits_h) for part in parts))
        for event in self.shared_events.values():
            if event.mtbf_h is not None and (event.name in matter or matter & {*event.breaks}):
                common[event.name] = Failure(
                    event.name, event.breaks, 1.0 / event.mtbf_h, event.mttr_h)
        for each, least in self._planned_and_starts:
            if each.name in matter or len(matter & {*each.parts}) >= least:
                common[each.name] = each
        if cut_off := self.cut_off(condition, common):
            per_h = math.fsum(each.rate_per_h for each in cut_off)
            common[self.way_lost] = Failure(self.way_lost, self.pair.units, per_h, math.fsum(
                each.rate_per_h * each.down_h for each in cut_off) / per_h)
        return common

    def with_common(self, condition: Condition) -> Condition:
        """Return a condition put together of several, with what parts all over it have in common.

        >>> from labkit import load_plant
        >>> load_plant().with_common(Whole("KF1"))
        Whole(name='KF1')
        """
        common = self._common(condition).values()
        return with_leaves(condition, lambda leaf: all_of([leaf, *(
            Whole(each.name) for each in common if getattr(leaf, "name", "") in each.parts)]))

    @cached_property
    def _planned_and_starts(self) -> tuple[tuple[Failure, int], ...]:
        """What takes parts out that are whole, and how many of them have to be there for it.

        Planned work, and starts that fail: without a part at rest nothing is started.
        """
        found = [(Failure(each.name, each.parts, 1.0 / each.every_h, each.takes_h), 1)
                 for each in self.maintenance]
        for each in self.changeovers:
            parts = [self.parts[name] for name in each.parts]
            failing_per_h = (1.0 - each.starts) * self._starts_asked_per_h(each)
            lasts_h = (each.by_hand_h, max(part.mttr_h for part in parts))
            for (name, share), down_h in zip(each.failing.items(), lasts_h, strict=True):
                if failing_per_h * share > 0:
                    found.append((Failure(name, each.parts, failing_per_h * share, down_h),
                                  each.running + 1))
        return tuple(found)

    def _starts_asked_per_h(self, duty: Changeover) -> float:
        """Return how often one that runs stops, by itself or for want of a feed, and others are left."""
        per_h = []
        for gone, part in self.parts.items():
            known = {gone: 0.0}
            after_h = [self._stops_after_h(name, known) for name in duty.parts]
            for hours in {*after_h} - {math.inf}:
                if sum(each > hours for each in after_h) >= duty.running:
                    own = Failure(gone, (gone,), part.failure_rate_per_h, part.mttr_h)
                    longer = Cut(gone, hours).of(own, [
                        (share, mean_h) for _, share, mean_h in self._kinds_of(own)])
                    share = min(1.0, after_h.count(hours) * duty.running / len(after_h))
                    per_h.append(share * longer.rate_per_h)
        return math.fsum(per_h)

    def _stops_after_h(self, name: str, known: dict[str, float]) -> float:
        """Return when a part stops for want of its feeds, hours; of those that are known it is given."""
        if name not in known:
            known[name] = self.parts[name].battery_h + max(
                (self._stops_after_h(feed, known) for feed in self.parts[name].fed_by), default=math.inf)
        return known[name]

    @property
    def way_lost(self) -> str:
        """Name of what a standby that is started by hand makes of a cut way or feed of the leader."""
        return f"{'+'.join(self.pair.units)} way lost" if self.started_by_hand else ""

    def cut_off(self, condition: Condition, common: Mapping[str, Failure] | None = None
                ) -> tuple[Failure, ...]:
        """Return what cuts off a leader until its partner is started by hand, or until its repair.

        Each unit leads for half of the time.

        Parameters
        ----------
        condition : Condition
            From `condition`.
        common : mapping of str to Failure, optional
            What its parts have in common, where that is known already.

        Examples
        --------
        >>> from labkit import load_plant
        >>> load_plant().cut_off(Whole("KF1"))
        ()
        """
        if not self.started_by_hand or not {*map(Leads, self.pair.units)} <= {*leaves(condition)}:
            return ()
        started_per_h = 1.0 / self.pair.restart_mean_h(self.unit.mttr_h)
        common, both = self._common(condition) if common is None else common, stops_alone(condition)
        found = [self._single(leaf, common) for unit in self.pair.units for leaf in stops_alone(with_leaves(
            condition, lambda leaf, unit=unit: leaf.unit == unit if isinstance(leaf, Leads) else leaf)) - both]
        return tuple(replace(each, rate_per_h=each.rate_per_h / 2.0, down_h=1.0 / (
            1.0 / each.down_h + started_per_h)) for each in found if each.rate_per_h > 0)

    # ------------------------------------------------------------ cuts longer than a battery

    def beyond(self, leaf: Whole, battery_h: float) -> Whole:
        """Return what has to be whole of a failure behind a battery.

        Parameters
        ----------
        leaf : Whole
            Of the failure in all its lengths.
        battery_h : float
            For how long nothing behind the battery sees it, hours.

        Examples
        --------
        >>> from labkit import load_plant
        >>> load_plant().beyond(Whole("GB1"), 0.5)
        Whole(name='GB1 longer than 0.5 h')
        """
        if not battery_h:
            return leaf
        cut = Cut(leaf.name, battery_h)
        self._cuts[cut.name] = cut
        return Whole(cut.name)

    def by_length(self, condition: Condition) -> Condition:
        """Return a condition in which failures seen over several batteries are told apart by length.

        What lasts longer than the larger battery is not over for the smaller one either.

        >>> from labkit import load_plant
        >>> load_plant().by_length(Whole("GB1"))
        Whole(name='GB1')
        """
        if not self._cuts:
            return condition

        def seen(leaf: Whole | Leads) -> Cut:
            return self.cut_of(getattr(leaf, "name", ""))

        from_h: dict[str, set[float]] = {}
        for leaf in leaves(condition):
            from_h.setdefault(seen(leaf).failure, set()).update(
                {seen(leaf).from_h, seen(leaf).to_h} - {math.inf})
        several = {name: sorted(found) for name, found in from_h.items() if len(found) > 1}
        for name, steps in several.items():
            # What is longer than a length that stops the function changes nothing any more.
            alone = [hours for hours in steps if not holds(
                condition, lambda leaf, name=name, hours=hours:
                seen(leaf).failure == name and seen(leaf).from_h <= hours)]
            several[name] = [hours for hours in steps if not alone or hours <= alone[0]]

        def told_apart(leaf: Whole | Leads) -> Condition:
            cut = seen(leaf)
            if cut.failure not in several:
                return leaf
            steps = several[cut.failure]
            parts = [Cut(cut.failure, start_h, end_h)
                     for start_h, end_h in zip(steps, [*steps[1:], math.inf], strict=True)
                     if cut.from_h <= start_h < cut.to_h]
            whole = [each for each in parts if (each.from_h, each.to_h) == (0.0, math.inf)]
            self._cuts.update({each.name: each for each in parts if each not in whole})
            return all_of(Whole(each.failure if each in whole else each.name) for each in parts)

        if several:
            condition = with_leaves(condition, told_apart)
        if not any(isinstance(leaf, Whole) and leaf.name in self._cuts for leaf in leaves(condition)):
            return condition
        # What is never so long stops nothing.
        can_come = self.single_failures(condition)
        return with_leaves(condition, lambda leaf: leaf if isinstance(leaf, Leads)
                           or leaf.name in can_come else True)

    def cut_of(self, name: str) -> Cut:
        """Return of which failure, and of which of its lengths, a single failure is.

        Parameters
        ----------
        name : str
            That of a failure; a longer cut has one of its own.

        Examples
        --------
        >>> from labkit import load_plant
        >>> load_plant().cut_of("GB1")
        Cut(failure='GB1', from_h=0.0, to_h=inf)
        """
        return self._cuts.get(name) or Cut(name, 0.0)

    def _failure_of(self, name: str) -> str:
        """Return of which failure a single failure is, whatever its lengths."""
        return self._cuts[name].failure if name in self._cuts else name

    def lengths_of(self, failure: Failure) -> list[tuple[str, float, float]]:
        """Return the kinds of length that a failure has: name, share of its failures, mean hours.

        Only the mains have two, short and long; what hardly comes is left out.

        >>> from labkit import load_plant
        >>> load_plant().lengths_of(Failure("BL1", ("BL1",), 1e-5, 3.0))
        [('', 1.0, 3.0)]
        """
        cut = self.cut_of(failure.name)
        kinds = self._kinds_of(replace(failure, name=cut.failure))
        if cut.to_h < math.inf or len(kinds) < 2:
            return [("", 1.0, failure.down_h)]
        often = [share * math.exp(-cut.from_h / mean_h) for _, share, mean_h in kinds]
        found = [(name, share / math.fsum(often), mean_h) for (name, _, mean_h), share in zip(
            kinds, often, strict=True) if share > 1e-9 * max(often)]
        return found if len(found) > 1 else [("", 1.0, found[0][2])]

    def _kinds_of(self, failure: Failure) -> list[tuple[str, float, float]]:
        """Return by name the kinds of cut of mains, with shares and mean hours; twins have them too."""
        if failure.name not in self.parts and failure.name not in {each.name for each in self.twins}:
            return []
        part = max((self.parts[name] for name in failure.parts), key=lambda each: each.mttr_h)
        names = [mode.how for mode in self.modes_of(part.designation)] or ["long cuts", "short cuts"]
        return [(name, rate * part.mtbf_h, mean_h)
                for name, (rate, mean_h) in zip(names, part.cuts, strict=False)]

    # ------------------------------------------------------------ hidden failures

    def share_noticed(self, name: str) -> float:
        """Return which share of the failures of a part, or of an event, is noticed at once.

        Parameters
        ----------
        name : str
            Designation of a part, or name of an event.

        Returns
        -------
        float
            What the file states; where it states nothing, what the rig shows
            (`labkit.rig.noticed`), 0 to 1.

        Raises
        ------
        ValueError
            If there is no such part or event.

        Examples
        --------
        >>> from labkit import load_plant
        >>> load_plant().share_noticed("KF10A"), load_plant("elderhang").share_noticed("GP1")
        (0.95, 0.3)
        """
        part = self.parts.get(instance("name", name, str))
        if part is not None and part.noticed is not None:
            return part.noticed
        return self.share_seen(name)

    def share_seen(self, name: str) -> float:
        """Return which share of the failures of the part or event of this name the rig shows.

        >>> from labkit import load_plant
        >>> load_plant("elderhang").share_seen("GP1")
        1.0
        """
        if name not in self._watched:
            self._watched[name] = watching.share_noticed(self, name)
        return self._watched[name]

    def share_hidden(self, failure: Failure) -> float:
        """Return which share of a failure nobody notices; of twins the best watched counts.

        Of a failure that twins have in common each of them is a sign, so what goes unnoticed is
        the smallest share among them. The same of a part by itself, and of an event.

        >>> from labkit import load_plant
        >>> plant = load_plant("elderhang")
        >>> found = plant.single_failures(plant.condition("frost duty"))
        >>> plant.share_hidden(found["GP1+GP2+GP3 common cause"])
        0.7
        """
        name = self._failure_of(failure.name)
        if name == self.way_lost or any(each.name == name for each, _ in self._planned_and_starts):
            return 0.0
        names = [name] if name in self.shared_events else failure.parts
        return 1.0 - max(map(self.share_noticed, names))

    def fails_when_asked(self, failure: Failure, idle_h: float) -> float:
        """Return the chance that a failure is there, unseen, when an idle function is asked for.

        It stood idle for `idle_h` hours, above 0.

        >>> from labkit import load_plant
        >>> plant = load_plant("elderhang")
        >>> found = plant.single_failures(plant.condition("frost duty"))
        >>> round(plant.fails_when_asked(found["KF10"], 7300.0), 4)
        0.0
        """
        for duty in self.changeovers:
            if failure.name in duty.failing:
                return duty.failing[failure.name] * duty.fails_from_rest
        return -self.share_hidden(failure) * math.expm1(-failure.rate_per_h * idle_h)
