"""Settled states of a rig, and the ways between them: what a table of the rig is made of.

A way is one act by hand at a pair that has come to rest. It is looked at a minute later; before
the next act the pair is left alone until it has come to rest again, and the process has stood so
for a minute from its set-point. So a way has the same end whatever was done before, and a table of
ways stands for the rig.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from operator import attrgetter

import numpy as np

from labkit.plant.plant import Plant
from labkit.plant.worth import event_cost
from labkit.rig.rig import Rig, RigView
from labkit.switchover.roles import Entry, Role

MINUTE_S = 60.0
"""How long after an act its state is looked at."""

_RESTING = {Role.ACTIVE, Role.STANDBY, Role.OFF, Role.STOPPED}

Act = tuple[str, str]
"""A verb of `labkit.rig.rig.VERBS`, or "all off", and the fault that it switches."""


@dataclass(frozen=True, eq=False)
class Way:
    """Hold one act from a settled state: what is seen a minute later, and where it comes to rest.

    Parameters
    ----------
    before, after : RigView
        As `act_alone` gives them.
    key : str
        The settled state that it leads to, see `state_key`.
    rig : Rig
        There, before `come_to_rest`.
    """

    act: Act
    before: RigView
    after: RigView
    key: str
    rig: Rig


def acts_at(rig: Rig, most_faults: int, among: Collection[str] = ()) -> list[Act]:
    """Return what can be done at a rig with at most so many faults at once, of all or of some.

    What is on from the start, as a standby that is started by hand is stopped, is none of them.

    >>> acts_at(Rig(), 1, ["KF1: no power"])
    [('on', 'KF1: no power'), ('role change', '')]
    """
    on = rig.faults
    acts = [("off", each) for each in on]
    if len({*on} - {*rig.on_at_start}) < most_faults:
        acts += [("on", each) for each in rig.known_faults
                 if each not in on and (not among or each in among)]
    return [*acts, ("role change", ""), *([("all off", "")] if len(on) > 1 else [])]


def do(rig: Rig, act: Act) -> None:
    """Do one act, and let a minute pass."""
    verb, fault_id = act
    if verb == "all off":
        # which was on first belongs to an act before
        for each in sorted(rig.faults):
            rig.switch_off(each)
    else:
        rig.do(verb, fault_id)
    rig.wait(MINUTE_S)


def rest(rig: Rig) -> None:
    """Wait until the pair has nothing left to do: it is led, and nobody loads."""
    roles = set(rig.snapshot().roles.values())
    if Role.ACTIVE not in roles or not roles <= _RESTING:
        rig.wait(rig.settings.wait_limit_ms / 1000 + MINUTE_S)


def come_to_rest(rig: Rig) -> None:
    """Wait until the pair is at rest, and a minute more with the process as it is then.

    The process begins that minute at its set-point: so it depends on the state of the pair alone,
    and not on how that came about.
    """
    rest(rig)
    rig.reset_process()
    rig.wait(MINUTE_S)


def state_key(rig: Rig) -> str:
    """Return what tells one settled state from another: all by which the pair goes on.

    A battery carries or is empty; when it will be is not told, for that tells the time.
    """
    snapshot = rig.snapshot()
    batteries = {name: end_ms is not None for name, end_ms in snapshot.batteries.items()}
    return repr((replace(snapshot, time_ms=0, batteries=batteries,
                         alarms=tuple(sorted(set(snapshot.alarms) - set(rig.process_alarms)))),
                 rig.unseen()))


def act_alone(before: RigView, after: RigView, plant: Plant) -> tuple[RigView, RigView]:
    """Return the views before and after an act as if the record had begun with it.

    Times count from the act; record, course and happenings are those since the act, and what they
    cost is that of the plant given. Alarms stand in the order of their letters, and those that go
    at one moment too, as what came first belongs to an act before.
    """
    start_ms = before.snapshot.time_ms

    def at(view: RigView, **more: object) -> RigView:
        snapshot = replace(view.snapshot, time_ms=view.snapshot.time_ms - start_ms,
                           alarms=tuple(sorted(view.snapshot.alarms)))
        return replace(view, snapshot=snapshot, process_alarms=tuple(sorted(view.process_alarms)),
                       **more)

    record = tuple(_gone_by_letters(
        replace(each, time_ms=each.time_ms - start_ms)
        for each in after.record[len(before.record):]))
    new = after.happenings[len(before.happenings):]
    trend = after.trend
    if trend is not None:
        # in decimals again, and each once: the same course has the same rows, whenever it begins
        time_s = (trend.time_s - start_ms / 1000).round(6)
        since = (time_s >= 0) & np.append(np.diff(time_s) > 0, True)
        trend = replace(trend, **{name: column[since] for name, column in vars(trend).items()
                                  if name != "time_s"}, time_s=time_s[since])
    cost = event_cost(plant, frozenset(each.name for each in new))
    return (at(before, record=(), happenings=(), event_cost=0.0),
            at(after, record=record, happenings=new, event_cost=cost, trend=trend))


def _gone_by_letters(record: Iterable[Entry]) -> Iterator[Entry]:
    for (_, gone), entries in groupby(
            record, lambda each: (each.time_ms, each.what == "alarm" and not each.new)):
        yield from sorted(entries, key=attrgetter("old")) if gone else entries


def ways_from(rig: Rig, acts: Sequence[Act], plant: Plant | None = None) -> Iterator[Way]:
    """Return the ways that lead on from a rig at rest, which stays as it is.

    Parameters
    ----------
    plant : Plant, optional
        Whose costs are counted, where the rig has a plant without.

    >>> [way.after.snapshot.roles["KF2"].value for way in ways_from(Rig(), [("role change", "")])]
    ['active']
    """
    # a copy has a record of its own
    before = replace(rig.view(), record=())
    for act in acts:
        other = rig.copy()
        do(other, act)
        alone = act_alone(before, other.view(), plant or rig.plant)
        rest(other)
        yield Way(act, *alone, state_key(other), other)
