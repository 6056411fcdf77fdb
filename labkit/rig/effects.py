"""What a fault does, taken from running the rules: before, after, and what is seen of it.

`effect_of` runs one fault on a rig of its own, `course_of` a longer course of actions. Nothing is
remembered here; who asks twice keeps the answer. The papers, the fault finding and the drills all
read the same `Effect`, so that none of them says of a fault what the rules do not do.

A course has two halves. What is `prepared` brings the plant into the state in which the test or
the fault finds it; only what comes after that counts as effect. Each action is followed by its
own wait, and the last by `WATCH_S`, longer where a unit needs longer to load.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType

from labkit.arguments import instance, one_of
from labkit.plant.plant import Plant, PlantState
from labkit.rig.rig import Rig
from labkit.rig.state_line import lost_functions, lost_on_battery, state_line
from labkit.rig.tank import Happening
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Entry, Outputs, Role, Snapshot
from labkit.switchover.settings import PairSettings, usual_settings

WATCH_S = 60.0
SETTLE_S = 2.0
WORST = (Outputs.WRITTEN, Outputs.HELD, Outputs.FAIL_STATE)


@dataclass(frozen=True)
class Do:
    """Hold one action at the rig, and how long to wait after it.

    Parameters
    ----------
    verb : str
        "on", "off" or "role change".
    fault_id : str
        Which fault; empty for a planned switchover.
    wait_s : float
        Wait after it, >= 0.001, in s.

    >>> Do("on", "KF1: no power").wait_s
    2.0
    """

    verb: str
    fault_id: str = ""
    wait_s: float = SETTLE_S


@dataclass(frozen=True)
class LampChange:
    """Hold what one lamp said before and says after, in words.

    Parameters
    ----------
    unit, name : str
        What carries it, and the word beside it.
    old, new : str
        What it said before, and says at the end.

    >>> LampChange("KF2", "ACTIVE", "does not lead", "leads").new
    'leads'
    """

    unit: str
    name: str
    old: str
    new: str


@dataclass(frozen=True)
class Effect:
    """Hold what a course of actions does, beside the state in which it found the plant.

    Parameters
    ----------
    actions : tuple of Do
        What was done.
    leader : str or None
        Who led before.
    before, after : Snapshot
        How the course found the plant, and how it is at the end.
    gap_ms : mapping of str to int
        For each rack the longest time without written outputs at its terminals, ms. A gap that
        has not ended counts up to the end of the watch; see `gap_open`.
    gap_open : frozenset of str
        Racks whose outputs are not written at the end.
    takeover_ms : int or None
        From the last action to the first moment at which another unit than the former leader has
        its outputs at every rack that is written at the end, ms; None if the leader stayed.
    outputs_worst : mapping of str to Outputs
        For each rack.
    functions_lost : tuple of str
        Functions that are lost at the end, or once batteries are empty, those only counted too.
    lost_after_h : mapping of str to float
        Those of them that batteries keep until then, with the hours.
    alarms : tuple of str
        Every alarm raised in between, in order, those that have gone again too.
    lamps : tuple of LampChange
        Lamps that say something else at the end.
    lamps_after : tuple of Lamp
        All lamps at the end.
    noticed : bool
        Whether any lamp changed or any alarm was raised, of pair or process, for however short.
    noticed_after_ms : int or None
        How long after the first action the first of these came, ms.
    record : tuple of Entry
        What was entered, times counted from the first action, ms.
    happenings : tuple of Happening
        What happened to the process, times counted from the first action, s.
    event_cost : float
        What that costs, in the plant's currency.

    >>> from labkit import load_plant
    >>> effect = effect_of(load_plant(), "KF1: no power")
    >>> effect.leads_after, effect.gap_ms["KF10"] <= 285, effect.noticed
    ('KF2', True, True)
    """

    actions: tuple[Do, ...]
    leader: str | None
    before: Snapshot
    after: Snapshot
    gap_ms: Mapping[str, int]
    gap_open: frozenset[str]
    takeover_ms: int | None
    outputs_worst: Mapping[str, Outputs]
    functions_lost: tuple[str, ...]
    lost_after_h: Mapping[str, float]
    alarms: tuple[str, ...]
    lamps: tuple[LampChange, ...]
    lamps_after: tuple[Lamp, ...]
    noticed: bool
    noticed_after_ms: int | None
    record: tuple[Entry, ...]
    happenings: tuple[Happening, ...]
    event_cost: float
    _pair: Switchover = field(repr=False, compare=False)
    _broken: frozenset[str] = field(repr=False)

    @cached_property
    def state(self) -> PlantState:
        """What works at the end, what would stop it next, and how often: the line of the state."""
        return state_line(self._pair, self._broken)

    @property
    def leads_after(self) -> str | None:
        """The controller that leads at the end; None if nobody or two do."""
        leaders = self.after.leaders
        return leaders[0] if len(leaders) == 1 else None

    @property
    def longest_gap_ms(self) -> int:
        """The longest gap of all racks, ms."""
        return max(self.gap_ms.values(), default=0)

    @property
    def worst(self) -> Outputs:
        """The worst state of any outputs in between."""
        return max(self.outputs_worst.values(), key=WORST.index, default=Outputs.WRITTEN)


def effect_of(plant: Plant, fault_id: str, settings: PairSettings | None = None, *,
              leader: str | None = None, seed: int = 1) -> Effect:
    """Say what one fault does that comes and stays.

    Parameters
    ----------
    fault_id : str
        Id as in `labkit.switchover.fault_kinds.faults_of`.
    leader : str, optional
        Controller that leads when the fault comes. Default: the first.
    seed : int
        Draws the phases of the clocks, on which the gap depends within its budget.

    Raises
    ------
    ValueError
        If the plant has no such fault or controller.

    >>> from labkit import load_plant
    >>> effect_of(load_plant(), "KF20B: dead and silent").noticed
    False
    >>> effect_of(load_plant(), "KF20B: dead and silent", leader="KF2").noticed
    True
    """
    return course_of(plant, [Do("on", fault_id)], settings, leader=leader, seed=seed)


def effects_of(plant: Plant,
               settings: PairSettings | None = None) -> dict[tuple[str, str | None], Effect]:
    """Say what every fault of a plant does, with each controller leading.

    Parameters
    ----------
    plant : Plant
    settings : PairSettings, optional

    Returns
    -------
    dict of (str, str or None) to Effect
        By id of the fault and leader; None where the plant has no controller.

    Examples
    --------
    >>> from labkit import load_plant
    >>> found = effects_of(load_plant("mirelow"))
    >>> found["KF1: no power", "KF1"].functions_lost
    ('fans kept', 'control kept')
    """
    instance("plant", plant, Plant)
    instance("settings", settings, PairSettings, or_none=True)
    leaders = plant.controllers or (None,)
    return {(fault_id, leader): effect_of(plant, fault_id, settings, leader=leader)
            for fault_id in faults_of(plant) for leader in leaders}


def course_of(plant: Plant, actions: Iterable[Do], settings: PairSettings | None = None, *,
              prepared: Iterable[Do] = (), leader: str | None = None, seed: int = 1,
              watch_s: float = WATCH_S) -> Effect:
    """Say what a course of actions does to a plant that was prepared.

    Parameters
    ----------
    actions : iterable of Do
        At least one.
    prepared : iterable of Do
        What was done before; its effects are not counted.
    leader : str, optional
        Controller that leads before anything is prepared. Default: the first.
    seed : int
        Draws the phases of the clocks.
    watch_s : float
        How long to watch after the last action, > 0, in s; loading and self test come on top.

    Raises
    ------
    ValueError
        If a verb is unknown, or the plant has no such fault or controller.

    >>> from labkit import load_plant
    >>> gone = Do("on", "KF2: no power")
    >>> course_of(load_plant(), [Do("on", "KF1: no power")], prepared=[gone]).leads_after is None
    True
    """
    actions, prepared = tuple(actions), tuple(prepared)
    settings = settings or usual_settings(plant)
    rig = _prepared(plant, settings, seed, leader, prepared)
    pair = rig._pair
    before, start_ms, entered = rig.snapshot(), pair.time_ms, len(rig.record)
    happened, cost_before = len(rig.happenings), rig.event_cost
    looking = _Looking(before)
    waits_ms = [_ms(each.wait_s) for each in actions]
    waits_ms[-1] += _watch_ms(settings, watch_s)
    for each, wait_ms in zip(actions, waits_ms, strict=True):
        last_ms = pair.time_ms
        rig.do(each.verb, each.fault_id)
        rig._run_to(last_ms + wait_ms, looking.on)
    after, lamps_after = rig.snapshot(), lamps_of(rig.snapshot())
    record = tuple(replace(each, time_ms=each.time_ms - start_ms) for each in rig.record[entered:])
    histories = {rack: pair.output_history(rack) for rack in plant.racks}
    led = next(iter(before.leaders), None)
    alarms = [each for each in record if each.what == "alarm" and each.new]
    of_pair = {each.new for each in pair.record}
    broken = rig._broken()
    later = lost_on_battery(pair, broken)
    lost = {*lost_functions(plant, pair, broken), *later}
    seen_ms = [each.time_ms for each in alarms if each.new not in of_pair]
    if looking.changed_ms is not None:
        seen_ms.append(looking.changed_ms - start_ms)
    return Effect(
        actions=actions,
        leader=led,
        before=before,
        after=after,
        gap_ms=MappingProxyType({rack: _gap_ms(history, start_ms, pair.time_ms)
                                 for rack, history in histories.items()}),
        gap_open=frozenset(rack for rack, state in after.outputs.items()
                           if state is not Outputs.WRITTEN),
        takeover_ms=_takeover_ms(histories, led, last_ms),
        outputs_worst=MappingProxyType({rack: _worst(history, start_ms)
                                        for rack, history in histories.items()}),
        functions_lost=tuple(name for name in plant.functions_counted if name in lost),
        lost_after_h=MappingProxyType(later),
        alarms=tuple(dict.fromkeys(each.new for each in alarms)),
        lamps=tuple(LampChange(new.unit, new.name, old.text, new.text)
                    for old, new in zip(lamps_of(before), lamps_after, strict=True)
                    if (old.text, old.flashing) != (new.text, new.flashing)),
        lamps_after=lamps_after,
        noticed=bool(seen_ms),
        noticed_after_ms=min(seen_ms, default=None),
        record=record,
        happenings=tuple(replace(each, time_s=round(each.time_s - start_ms / 1000, 3))
                         for each in rig.happenings[happened:]),
        event_cost=rig.event_cost - cost_before,
        _pair=pair,
        _broken=broken,
    )


def shows(plant: Plant, fault_id: str, *, leader: str | None = None) -> bool:
    """Say whether a lamp, an alarm or the process shows a fault that comes and stays.

    The same answer as from `effect_of`, without running on once it is known.

    >>> from labkit import load_plant
    >>> shows(load_plant(), "KF20B: dead and silent"), shows(load_plant(), "QM1: shut locally")
    (False, True)
    """
    rig = _prepared(plant, usual_settings(plant), 1, leader, ())
    looking, entered = _Looking(rig.snapshot()), len(rig.record)
    happened = len(rig.happenings)
    rig.switch_on(fault_id)
    rig._run_to(rig._pair.time_ms + _ms(SETTLE_S) + _watch_ms(rig.settings, WATCH_S),
                looking.until_seen)
    return looking.changed_ms is not None or len(rig.happenings) > happened or any(
        each.what == "alarm" for each in rig.record[entered:])


def _prepared(plant: Plant, settings: PairSettings, seed: int, leader: str | None,
              prepared: Iterable[Do]) -> Rig:
    """Return the rig once it has settled and all was prepared."""
    rig = Rig(plant, settings, seed=seed)
    rig.wait(SETTLE_S)
    first = []
    if leader is not None:
        one_of("leader", leader, plant.controllers)
        if rig.snapshot().roles.get(leader) is not Role.ACTIVE:
            first = [Do("on", f"{plant.pair.units[0]}: stopped"), Do("off", f"{leader}: stopped")
                     ] if plant.started_by_hand else [Do("role change")]
    for each in (*first, *prepared):
        rig.do(each.verb, each.fault_id)
        rig.wait(each.wait_s)
    return rig


def _watch_ms(settings: PairSettings, watch_s: float) -> int:
    return _ms(watch_s) + settings.load_ms + settings.start_ms


def _ms(seconds: float) -> int:
    return round(seconds * 1000)


class _Looking:
    """Look at lamps and alarms at every moment at which anything happens."""

    def __init__(self, before: Snapshot) -> None:
        self.lamps, self.alarms = self._said(before)
        self.changed_ms: int | None = None

    def _said(self, snapshot: Snapshot) -> tuple[list, set[str]]:
        return [(lamp.text, lamp.flashing) for lamp in lamps_of(snapshot)], set(snapshot.alarms)

    def until_seen(self, pair: Switchover, end_ms: int) -> None:
        """Go on until something is seen, to a time at most."""
        while self.changed_ms is None:
            lamps, alarms = self._said(pair.snapshot())
            if lamps != self.lamps or alarms - self.alarms:
                self.changed_ms = pair.time_ms
            elif not pair.run_to_next(end_ms):
                break

    def on(self, pair: Switchover, end_ms: int) -> None:
        """Go on to a time; once something was seen there is no need to look any more."""
        self.until_seen(pair, end_ms)
        pair.run_to(end_ms)


def _worst(history, start_ms: int) -> Outputs:
    """Return the worst state of outputs from a time on."""
    ends = (*history[1:], (math.inf,))
    return max((state for (_, state, _), (end_ms, *_) in zip(history, ends, strict=True)
                if end_ms > start_ms), key=WORST.index)


def _gap_ms(history, start_ms: int, end_ms: int) -> int:
    """Return the longest time without written outputs between two times."""
    longest, began_ms = 0, None
    for time_ms, state, _ in (*history, (end_ms, Outputs.WRITTEN, None)):
        if state is not Outputs.WRITTEN:
            began_ms = time_ms if began_ms is None else began_ms
        elif began_ms is not None:
            longest, began_ms = max(longest, time_ms - max(began_ms, start_ms)), None
    return longest


def _takeover_ms(histories, leader: str | None, last_ms: int) -> int | None:
    """Return when every rack that is written has the outputs of another unit, from a time on."""
    times_ms = []
    for history in histories.values():
        since_ms, state, writer = history[-1]
        if state is not Outputs.WRITTEN:
            continue
        if writer is None or writer == leader:
            return None
        times_ms.append(since_ms)
    return max(times_ms) - last_ms if times_ms and max(times_ms) >= last_ms else None
