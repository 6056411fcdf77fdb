"""The roles of a pair of controllers in time: faults in, changes of role out, in whole ms.

The rules stand in `labkit.switchover.rules`; this module runs from that table. While nothing
changes nothing
is computed: beats, cycles and writes of a healthy controller follow from its clock by arithmetic,
so ten quiet minutes cost as much as one millisecond.

What happens in one millisecond, in this order: feeds back, self tests done, beats heard, partners
missed, answers of the racks, loading done, roles given up, writes, outputs at the terminals,
writes that did not come, hold times over, returns; of two alike the lower number first. What
somebody does by hand comes after all of these.

Where the rules are silent, this is how the pair acts:

* A unit without supply falls silent at once, and so do its links: the racks see that nothing
  carries, have no writer and hold their outputs. A stopped or frozen program leaves the links
  alive: its mark stays in the rack and counts as fresh until the next write was due.
* What an active unit finds out, such as a link that has failed, it acts on at its next cycle.
* The interface of a frozen unit obeys its partner's order to stop.
* A role changes in the millisecond of the first write. Until then nothing has changed, and
  whatever removes the reason for a takeover stops it.
* A starting unit listens until it has heard a beat, or for as long as a silent partner takes to
  be missed. One that reaches no rack does not lead.
* A standby that has missed beats, or stood still, loads again when it hears an active partner.
* Without the sync cable a standby cannot load; it takes over with the data that it has.
* With marks not read, a unit neither asks before a takeover nor gives up when it is displaced.
* A frozen unit keeps its lamps. It has no self test while it is frozen.
* A dead interface that is silent is found by the unit that writes through it, and then known.
* A unit whose program differs stays loading; if no partner leads any more, it leads.
* A dead rack has its outputs off, which is their fail state, and forgets the term of its mark.
* A woken leader writes with its old term until it has read a newer one, with its next cycle.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from functools import partial
from random import Random

from labkit.arguments import count, instance, instances, mapping, one_of, written
from labkit.plant.plant import Plant
from labkit.switchover.beats import Beats
from labkit.switchover.clocks import Clock, draw_clocks
from labkit.switchover.damage import Damage, Wires
from labkit.switchover.decisions import ACTS
from labkit.switchover.fault_kinds import DIP_MS, Fault, faults_of, voter_of
from labkit.switchover.knowledge import (
    AGEING,
    FRESH,
    NO_RACK,
    NO_VOTE,
    NOT_ASKED,
    VOTED,
    Knowledge,
    Rack,
    UnitState,
    Voter,
)
from labkit.switchover.many_copies import copies_of
from labkit.switchover.onset import bring_to, restart, settings_with
from labkit.switchover.racks import Racks
from labkit.switchover.roles import Contact, Entry, Outputs, Role, Snapshot
from labkit.switchover.rules import RULES, Rule
from labkit.switchover.settings import PairSettings, usual_settings
from labkit.switchover.signs import alarms, is_alone, pair_signs, shows_failed, wire_signs
from labkit.switchover.timing import MS_PER_H
from labkit.switchover.votes import Votes
from labkit.wording import did_you_mean

MOST_ROUNDS = 2000  # of the rules, by what happens in one millisecond


class Switchover:
    """Run a pair of controllers through faults, from time 0 on.

    Parameters
    ----------
    plant : Plant
    settings : PairSettings, optional
    seed : int
        Draws the phases of the clocks, and which beats a noisy cable loses.
    cold_start : bool
        False: everything is healthy and settled at time 0, the first unit active, the second
        standby. True: power has just come on.
    clocks : mapping of str to Clock, optional
        Clocks of controllers whose phases are not to be drawn.
    rules : tuple of Rule
        The table to run from; a row that is left out does not act.

    Raises
    ------
    ValueError
        If a clock is given for a controller that the plant does not have.

    Examples
    --------
    >>> from labkit import load_plant
    >>> pair = Switchover(load_plant())
    >>> pair.switch_on("KF1: no power")
    >>> pair.run_for(1000)
    >>> [unit for time_ms, unit in pair.active_history()]
    ['KF1', None, 'KF2']
    """

    def __init__(self, plant: Plant, settings: PairSettings | None = None, *, seed: int = 1,
                 cold_start: bool = False, clocks: Mapping[str, Clock] | None = None,
                 rules: tuple[Rule, ...] = RULES):
        instance("plant", plant, Plant)
        instance("settings", settings, PairSettings, or_none=True)
        self.plant = plant
        self.settings = settings or usual_settings(plant)
        self._known_faults = faults_of(plant, third_vote=self.settings.third_vote)
        self._wires = Wires(plant)
        self._faults: dict[str, Fault] = {}
        self._dips: dict[str, int] = {}
        self._empty_ms: dict[str, int] = {}
        self._alone, self.keeps_record, self._rounds = False, True, 0
        given = dict(mapping("clocks", {} if clocks is None else clocks, "controller to clock"))
        rules = instances("rules", rules, Rule)
        for name in sorted(given.keys() - set(self._wires.controllers)):
            raise ValueError(f"clocks must be given for {', '.join(self._wires.controllers)} only, "
                             f"got {name!r}")
        seed = count("seed", seed)
        drawn = draw_clocks(self.settings, Random(f"{seed} clocks"))
        units = [UnitState(name, i, given.get(name, drawn[i]))
                 for i, name in enumerate(self._wires.controllers)]
        racks = [Rack(name) for name in self._wires.racks]
        voter = Voter(voter_of(plant)) if self.settings.third_vote and len(units) == 2 else None
        self._pair = Knowledge(units, racks, self.settings, self._wires.damage(()), rules, voter)
        self._unit = {unit.name: unit for unit in units}
        self._beats = Beats(self._pair, seed)
        self._racks = Racks(self._pair)
        self._votes = Votes(self._pair)
        self._table = [ACTS[rule.key] for rule in rules if rule.key in ACTS]
        if cold_start:
            for unit in units:
                unit.start_ms = self.settings.start_ms
        else:
            self._settle_healthy()
        self._alone = is_alone(self._pair, False)
        self._signs = {key: state for key, (state, _) in self._read_signs().items()}
        self._alarms = alarms(self._pair, self._wires, self._faults, self._alone)
        self._active_history: list[tuple[int, str | None]] = [(0, self._executing())]
        self._output_history = {rack.name: [(0, *self._racks.output_state(rack))] for rack in racks}
        self._settle()

    # ------------------------------------------------------------ what one can do

    def switch_on(self, fault_id: str) -> None:
        """Switch a fault on, now; one that is on stays on.

        Parameters
        ----------
        fault_id : str
            Id as in `labkit.switchover.fault_kinds.faults_of`.

        Raises
        ------
        ValueError
            If the plant has no such fault.
        """
        fault = self._fault(fault_id)
        if fault_id in self._faults:
            return
        self._faults[fault_id] = fault
        self._pair.note(fault_id, "fault", "off", "on", f"{fault.label}: switched on.")
        if fault.mode == "voltage dip":
            self._dips[fault.unit] = self.time_ms + DIP_MS
        self._apply_faults()
        if fault.mode == "restart":
            restart(self._pair, self._unit[fault.unit])
        self._settle()
        if fault.mode == "planned test":
            self.request_role_change()

    def switch_off(self, fault_id: str) -> None:
        """Switch a fault off, now; one that is off stays off.

        Parameters
        ----------
        fault_id : str
            Id as in `labkit.switchover.fault_kinds.faults_of`.

        Raises
        ------
        ValueError
            If the plant has no such fault.
        """
        fault = self._fault(fault_id)
        if fault_id not in self._faults:
            return
        del self._faults[fault_id]
        self._pair.note(fault_id, "fault", "on", "off", f"{fault.label}: switched off.")
        self._apply_faults()
        self._settle()

    def request_role_change(self) -> Entry:
        """Ask for a switchover by hand; it is refused while the standby is not ready.

        Returns
        -------
        Entry
            What was answered, "accepted" or "refused", and why; it is in the record too.
        """
        pair = self._pair
        reason = self._refusal()
        leader = next((unit for unit in pair.units if unit.role is Role.ACTIVE), None)
        who = leader.name if leader else "pair"
        if reason:
            pair.note(who, "role change", "asked", "refused", f"Refused: {reason}.")
            return pair.record[-1]
        standby = pair.partner(leader)
        pair.note(who, "role change", "asked", "accepted",
                  f"Asked for by hand; {standby.name} is ready.")
        answer = pair.record[-1]
        pair.decide(standby, "by hand", "planned")
        self._settle()
        return answer

    def run_to(self, time_ms: int) -> None:
        """Go on to a time.

        Parameters
        ----------
        time_ms : int
            Not before now, ms.

        Raises
        ------
        ValueError
            If it lies before now.
        TypeError
            If it is not an int.
        """
        self._check_time("time_ms", time_ms)
        while self._step(time_ms):
            pass

    def run_for(self, duration_ms: int) -> None:
        """Go on for a time.

        Parameters
        ----------
        duration_ms : int
            >= 0, ms.

        Raises
        ------
        ValueError
            If it is below 0.
        TypeError
            If it is not an int.
        """
        self.run_to(self.time_ms + count("duration_ms", duration_ms))

    def run_to_next(self, limit_ms: int) -> bool:
        """Go on to the next moment at which anything happens, at most to a limit.

        Parameters
        ----------
        limit_ms : int
            Not before now, ms.

        Returns
        -------
        bool
            Whether anything happened; False: the limit is reached.

        Raises
        ------
        ValueError
            If the limit lies before now.
        TypeError
            If it is not an int.
        """
        self._check_time("limit_ms", limit_ms)
        return self._step(limit_ms)

    def copy(self) -> Switchover:
        """Return a pair in this state that goes its own way; its record and histories begin here."""
        pair = self._pair
        begin = {id(pair.record): [], id(self._signs): {**self._signs},
                 id(self._alarms): {**self._alarms},
                 id(self._active_history): self._active_history[-1:],
                 id(self._output_history): {name: history[-1:] for name, history
                                            in self._output_history.items()}}
        return deepcopy(self, self._shared() | begin)

    def trials(self) -> Iterator[Switchover]:
        """Return copies without end to try things on; they keep no record, no signs and no alarms."""
        stem = self.copy()
        stem.keeps_record = False
        return copies_of(stem, self._shared())

    def _shared(self) -> dict[int, object]:
        """Return what is never changed, or is drawn once for all, and held by all copies; by id."""
        pair = self._pair
        return {id(each): each for each in (
            self.plant, self.settings, self._known_faults, self._wires, self._table, pair.rules,
            pair.damage, self._beats.noisy, *self._faults.values(),
            *(unit.clock for unit in pair.units))}

    # ------------------------------------------------------------ what one can read

    @property
    def time_ms(self) -> int:
        """Now, ms."""
        return self._pair.time_ms

    @property
    def record(self) -> tuple[Entry, ...]:
        """Every change so far, in order."""
        return tuple(self._pair.record)

    @property
    def faults(self) -> tuple[str, ...]:
        """Ids of the faults that are on, in the order in which they came."""
        return tuple(self._faults)

    @property
    def clocks(self) -> dict[str, Clock]:
        """Clock of each controller."""
        return {unit.name: unit.clock for unit in self._pair.units}

    def rules(self) -> tuple[Rule, ...]:
        """Return the table that this pair runs from."""
        return tuple(self._pair.rules.values())

    def active_history(self) -> tuple[tuple[int, str | None], ...]:
        """Return who executed control: (time_ms, controller or None), each from its time on.

        Of two that lead the one that writes more racks is given, on a tie the lower number.
        """
        return tuple(self._active_history)

    def output_history(self, rack: str) -> tuple[tuple[int, Outputs, str | None], ...]:
        """Return the outputs of a rack: (time_ms, outputs, writer or None), each from its time on.

        While two writers write by turns the outputs are WRITTEN and the writer is None.

        Raises
        ------
        ValueError
            If there is no such rack.
        """
        return tuple(self._output_history[one_of("rack", rack, self._output_history)])

    def snapshot(self) -> Snapshot:
        """Return the state now."""
        pair, damage = self._pair, self._pair.damage
        return Snapshot(
            time_ms=self.time_ms,
            roles={unit.name: unit.role for unit in pair.units},
            loading={unit.name: self._share(unit) for unit in pair.units
                     if unit.role is Role.LOADING},
            alone=self._alone,
            redundancy_lost=self._signs["pair", "redundancy"] == "lost",
            writers={rack.name: self._racks.writer_now(rack) for rack in pair.racks},
            links={(rack.name, unit.name): rack.name in pair.reach(unit)
                   for rack in pair.racks for unit in pair.units},
            outputs={rack.name: rack.outputs for rack in pair.racks},
            writes_fight=frozenset(rack.name for rack in pair.racks if len(rack.writing) > 1),
            sync_ok=damage.sync_ok,
            panel_sees=bool(damage.panels),
            alarms=tuple(self._alarms),
            faults=frozenset(self._faults),
            silent=frozenset(unit.name for unit in pair.units
                             if unit.contact is Contact.SILENT),
            failed=frozenset(unit.name for unit in pair.units if shows_failed(unit)),
            repeaters=dict(damage.repeaters),
            supplied=damage.supplied,
            panels={name: "sees" if name in damage.panels else
                    "blind" if name in damage.lit else "dark" for name in self._wires.panels},
            link_units=dict(self._wires.link_units),
            frame_errors=damage.frame_errors,
            lamps_dark=frozenset(fault.unit for fault in self._faults.values()
                                 if fault.mode == "lamp dark"),
            voter_heard=pair.voter and pair.voter.heard,
            vote=pair.voter and pair.voter.vote,
            batteries={name: end_ms if end_ms > self.time_ms else None
                       for name, end_ms in self._empty_ms.items()},
        )

    def unseen(self) -> tuple:
        """Return what tells a pair at rest from another that looks like it and goes on otherwise."""
        return self._pair.unseen()

    # ------------------------------------------------------------ small questions

    def _fault(self, fault_id: str) -> Fault:
        if instance("fault_id", fault_id, str) not in self._known_faults:
            raise ValueError(f"fault_id must be a fault of the plant, got {written(fault_id)}"
                             f"{did_you_mean(fault_id, self._known_faults, repr)}")
        return self._known_faults[fault_id]

    def _check_time(self, name: str, time_ms: int) -> None:
        if count(name, time_ms) < self.time_ms:
            raise ValueError(f"{name} must be >= now = {self.time_ms}, got {time_ms}")

    def _share(self, unit: UnitState) -> float:
        if unit.load_from_ms is None:
            return 0.0
        return min(1.0, (self.time_ms - unit.load_from_ms) / self.settings.load_ms)

    def _executing(self) -> str | None:
        """Return the controller that executes control, see `active_history`."""
        pair = self._pair

        def place(unit: UnitState) -> tuple[int, int, int]:
            written = sum(unit.name in rack.writing for rack in pair.racks)
            return written, len(pair.reach(unit)), -unit.index

        leading = [unit for unit in pair.units if unit.leads]
        return max(leading, key=place).name if leading else None

    def _refusal(self) -> str:
        """Return why a switchover by hand is refused now, or nothing."""
        pair = self._pair
        active = [unit for unit in pair.units if unit.role is Role.ACTIVE]
        if len(pair.units) < 2:
            return "this plant has one controller only"
        if "by hand" not in pair.rules:
            return "changes by hand are not provided for"
        if len(active) != 1:
            return "two units lead" if active else "no unit leads"
        leader, standby = active[0], pair.partner(active[0])
        if leader.frozen:
            return f"{leader.name} does not answer"
        if standby.take is not None:
            return "a takeover is on its way"
        if standby.role is Role.LOADING:
            return f"{standby.name} is loading, {100 * self._share(standby):.0f} % done"
        if standby.role is not Role.STANDBY:
            return f"{standby.name} is {standby.role.value}"
        if not (pair.live(leader) and (standby.frozen or pair.live(standby))):
            return f"{standby.name} is not heard on the sync cable"
        if standby.frozen:
            return f"{standby.name} does not answer"
        if len(pair.reach(standby)) < len(pair.reach(leader)):
            return f"{standby.name} reaches fewer racks than {leader.name}"
        return ""

    # ------------------------------------------------------------ faults

    def _apply_faults(self) -> None:
        """Bring units, wires and settings to what the faults that are on say."""
        pair = self._pair
        self._rounds = 0
        modes = {fault.mode for fault in self._faults.values()}
        pair.settings = settings_with(self.settings, modes)
        pair.differing = frozenset(fault.unit for fault in self._faults.values()
                                   if fault.mode == "program differs")
        before = pair.damage
        pair.damage = self._damage()
        if pair.damage.noise != before.noise or pair.damage.sync_quiet != before.sync_quiet:
            self._beats.change_noise()
        pair.look_at_ways()
        self._log_wires()
        for unit in pair.units:
            bring_to(pair, unit, {fault.mode for fault in self._faults.values()
                                  if fault.unit == unit.name})
        pair.look_at_ways()

    def _damage(self) -> Damage:
        """Return what faults, dips and empty batteries leave; what is fed again is full at once."""
        damage = self._wires.damage(self._faults.values(), {
            *self._dips, *(name for name, end in self._empty_ms.items() if end <= self.time_ms)})
        ends_ms = {name: self._empty_ms.get(name, self.time_ms + round(
            MS_PER_H * self.plant.parts[name].battery_h)) for name in damage.on_battery}
        if ends_ms == self._empty_ms:
            return damage
        self._empty_ms = ends_ms
        return self._damage()

    # ------------------------------------------------------------ events

    def _events(self) -> Iterator[tuple[int, int, int, Callable]]:
        """Yield all that will happen if nothing else does: time, order, number, what to do."""
        pair = self._pair
        for name, until_ms in self._dips.items():
            yield until_ms, 0, 0, partial(self._end_sag, name)
        yield from ((end_ms, 0, 0, self._apply_faults) for end_ms in self._empty_ms.values()
                    if end_ms > self.time_ms)
        for unit in pair.units:
            loading, taking = unit.load_from_ms is not None, unit.take is not None
            planned = ((None if unit.frozen else unit.start_ms, 1, self._started),
                       (unit.answer_ms, 4, self._answer),
                       (unit.load_from_ms + self.settings.load_ms if loading else None, 5,
                        self._loaded),
                       (unit.offer_ms, 6, self._offer),
                       (unit.yield_ms, 6, self._give_up),
                       (unit.take.write_ms if taking else None, 7, self._begin_to_lead),
                       (unit.return_ms, 11, self._return),
                       (unit.waited_ms, 11, self._wait_no_longer))
            for time_ms, order, act in planned:
                if time_ms is not None:
                    yield time_ms, order, unit.index, partial(act, unit)
        yield from self._votes.events()
        yield from self._racks.events()

    def _step(self, limit_ms: int) -> bool:
        """Go on to the next event, at most to a limit; return whether there was one."""
        pair = self._pair
        first = min(self._events(), key=_when, default=None)
        # on a noisy cable beats are looked at no further than needed
        until_ms = limit_ms if first is None else min(limit_ms, first[0])
        heard = min(self._beats.events(until_ms), key=_when, default=None)
        first = min((each for each in (first, heard) if each), key=_when, default=None)
        if first is None or first[0] > limit_ms:
            pair.time_ms = limit_ms
            return False
        if first[0] > pair.time_ms:
            pair.time_ms, self._rounds = first[0], 0
        first[3]()
        self._settle()
        return True

    def _end_sag(self, name: str) -> None:
        del self._dips[name]
        self._apply_faults()

    def _started(self, unit: UnitState) -> None:
        unit.start_ms = None
        if not (unit.held or unit.put_out):
            self._pair.begin(unit, f"Rule 2: {unit.name} has tested itself and listens.")

    def _answer(self, unit: UnitState) -> None:
        pair = self._pair
        unit.answer_ms = None
        unit.verdict = pair.looks(unit)
        partner = pair.partner(unit).name
        says = {
            NO_RACK: f"{unit.name} reaches no rack and never takes over.",
            VOTED: f"the third vote is given to {partner}; {unit.name} stays {unit.role.value}.",
            NO_VOTE: f"no third voter answers; {unit.name} has one vote of three and stays "
                     f"{unit.role.value}.",
            FRESH: f"the marks of {partner} are fresh: it lives and the sync cable is the fault; "
                   f"{unit.name} stays {unit.role.value}.",
            AGEING: f"no rack that {unit.name} reaches has a fresh mark of {partner}.",
            NOT_ASKED: "the racks are not asked.",
        }
        pair.note(unit.name, "question to the racks", "asked", unit.verdict,
                  f"Rule 4: {says[unit.verdict]}")
        if unit.verdict in (AGEING, NOT_ASKED):
            self._votes.ask(unit)

    def _loaded(self, unit: UnitState) -> None:
        pair = self._pair
        pair.stop_load(unit, "The whole state is copied.")
        rule = pair.rules.get("stays")
        pair.set_role(unit, Role.STANDBY,
                      rule.why(unit.name) if rule else f"{unit.name} is ready.")

    def _offer(self, unit: UnitState) -> None:
        """Let an active unit hand over, or a standby take what the marks offer."""
        unit.offer_ms = None
        if unit.leads:
            self._pair.decide(self._pair.partner(unit), "hand over", "planned")
        else:
            self._pair.decide(unit, "hand over by marks", "by marks")

    def _give_up(self, unit: UnitState) -> None:
        pair = self._pair
        rack = pair.newer_mark(unit)
        read = {} if rack is None else {
            "rack": rack.name, "newer": str(rack.term), "older": str(unit.term)}
        pair.begin(unit, pair.why(unit.gives_up, unit, **read))

    def _return(self, unit: UnitState) -> None:
        unit.return_ms = None
        self._pair.decide(unit, "returns", "planned")

    def _wait_no_longer(self, unit: UnitState) -> None:
        unit.waited_ms = None
        self._pair.decide(unit, "waited", "waited", limit=str(self._pair.settings.wait_limit_ms))

    def _begin_to_lead(self, unit: UnitState) -> None:
        """Let the first outputs of a new active unit go out: it leads from this millisecond on."""
        pair = self._pair
        partner, why = pair.partner(unit), unit.take.why
        if unit.take.kind == "by marks":
            self._votes.give(unit, why)
        if partner is not None and partner.leads and pair.live(unit) and pair.live(partner):
            pair.set_role(partner, Role.STANDBY, why)
        unit.term = pair.next_term(unit)
        pair.set_role(unit, Role.ACTIVE, why)
        self._racks.displace(unit, why)

    # ------------------------------------------------------------ settling

    def _settle_healthy(self) -> None:
        """Put everything to where a healthy pair settles: one leads, the other is ready."""
        pair = self._pair
        if not pair.units:
            return
        leader = max(pair.units, key=lambda unit: (len(pair.reach(unit)), -unit.index))
        for unit in pair.units:
            unit.role = Role.ACTIVE if unit is leader else Role.STANDBY
            if len(pair.units) == 2:
                unit.contact = Contact.HEARD
                unit.path_since_ms = unit.heard_ms = pair.partner(unit).clock.last_beat(0)
        leader.term = pair.next_term(leader)
        if pair.voter is not None:
            pair.voter.vote = leader.name
        for unit in pair.units:
            unit.known = pair.partner(unit).role if pair.partner(unit) else None
        for rack in pair.racks:
            if pair.truly_reaches(leader, rack):
                rack.outputs = Outputs.WRITTEN
                rack.writer = leader.name
                rack.term = leader.term
                rack.fresh = True
                rack.writing = {leader.name: leader.clock.last_write(0)}

    def _settle(self) -> None:
        """Apply the rules until nothing changes any more, and note what that has changed."""
        pair = self._pair
        for self._rounds in range(self._rounds + 1, MOST_ROUNDS):
            self._beats.refresh()
            for unit in pair.units:
                if unit.take is not None and not pair.stands(unit):
                    pair.stop_take(unit)
            self._votes.refresh()
            self._racks.refresh()
            if not any(act(pair, unit) for act in self._table for unit in pair.units):
                break
        else:
            raise RuntimeError(f"the pair does not come to rest at {self.time_ms} ms, "
                               f"faults {list(self._faults)}")
        if self.keeps_record:
            self._alone = is_alone(pair, self._alone)
            self._log_wires()
            self._log_signs(pair_signs(pair, self._alone))
            self._log_alarms()
            self._keep_histories()

    def _read_signs(self) -> dict[tuple[str, str], tuple[str, str]]:
        return wire_signs(self._pair, self._wires) | pair_signs(self._pair, self._alone)

    def _log_wires(self) -> None:
        # wires change with faults and with what a unit finds out, and by nothing else
        if self.keeps_record and not self._pair.wires_seen:
            self._pair.wires_seen = True
            self._log_signs(wire_signs(self._pair, self._wires))

    def _log_signs(self, signs: dict[tuple[str, str], tuple[str, str]]) -> None:
        for key, (state, why) in signs.items():
            before = self._signs[key]
            if before != state:
                self._pair.note(*key, before, state, why)
                self._signs[key] = state

    def _log_alarms(self) -> None:
        now = alarms(self._pair, self._wires, self._faults, self._alone)
        for text, (who, _) in self._alarms.items():
            if text not in now:
                self._pair.note(who, "alarm", text, "", "The reason is gone.")
        for text, (who, why) in now.items():
            if text not in self._alarms:
                self._pair.note(who, "alarm", "", text, why)
        # alarms keep the order in which they came
        self._alarms = {text: now[text] for text in [*self._alarms, *now] if text in now}

    def _keep_histories(self) -> None:
        leads = self._executing()
        if self._active_history[-1][1] != leads:
            self._active_history.append((self.time_ms, leads))
        for rack in self._pair.racks:
            state = self._racks.output_state(rack)
            history = self._output_history[rack.name]
            if history[-1][1:] != state:
                history.append((self.time_ms, *state))


def _when(event: tuple[int, int, int, Callable]) -> tuple[int, int, int]:
    return event[:3]
