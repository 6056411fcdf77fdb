"""What each controller of the pair has, hears and knows: the state that the rules look at.

Everything here answers a question about the present; nothing changes anything, except the few
steps at the end by which a rule acts.
"""

from dataclasses import dataclass, field

from labkit.switchover.clocks import Clock
from labkit.switchover.damage import Damage
from labkit.switchover.roles import Contact, Entry, Outputs, Role
from labkit.switchover.rules import Rule
from labkit.switchover.settings import PairSettings

AGEING, NOT_ASKED, FRESH = "mark ageing", "not asked", "mark fresh"
NO_RACK, VOTED, NO_VOTE = "no rack reachable", "third vote given away", "third voter silent"


@dataclass(slots=True)
class Take:
    """Hold a takeover on its way: the row that decided it, its kind, why, its first write."""

    rule: Rule
    kind: str
    why: str
    write_ms: int


@dataclass(slots=True, eq=False)
class UnitState:
    """Hold the state of one controller.

    Attributes
    ----------
    heard_ms : int
        When it last heard a beat of its partner, settled whenever the path changes.
    path_since_ms : int or None
        Since when beats can arrive; None while they cannot.
    known : Role or None
        Role of the partner as last heard.
    verdict, answer_ms
        What the racks last answered, and when the next answer is due.
    waited_ms : int or None
        When it will have waited long enough for a partner that only beats.
    held : str
        Why its program is stopped: by hand, or by its own fault.
    put_out : bool
        Whether its partner has ordered it out.
    term : int
        Number of its lead; its writes carry it.
    gives_up : str
        Row by which it gives up its role at `yield_ms`.
    found : set of str
        Racks whose interface it has found dead although that cannot be seen.
    """

    name: str
    index: int
    clock: Clock
    role: Role = Role.STOPPED
    contact: Contact = Contact.UNKNOWN
    heard_ms: int = 0
    path_since_ms: int | None = None
    known: Role | None = None
    verdict: str | None = None
    answer_ms: int | None = None
    take: Take | None = None
    start_ms: int | None = None
    load_from_ms: int | None = None
    offer_ms: int | None = None
    yield_ms: int | None = None
    gives_up: str = ""
    return_ms: int | None = None
    waited_ms: int | None = None
    frozen: bool = False
    held: str = ""
    put_out: bool = False
    term: int = 0
    found: set[str] = field(default_factory=set)

    @property
    def runs(self) -> bool:
        """Whether its program runs."""
        return not self.frozen and self.role not in (Role.OFF, Role.STOPPED)

    @property
    def leads(self) -> bool:
        """Whether it is active and its program runs."""
        return self.role is Role.ACTIVE and not self.frozen

    @property
    def waits(self) -> bool:
        """Whether it may come to lead: a standby or loading unit whose program runs."""
        return not self.frozen and self.role in (Role.STANDBY, Role.LOADING)


@dataclass(slots=True, eq=False)
class Rack:
    """Hold the state of one rack.

    Attributes
    ----------
    fresh : bool
        Whether the last write that was due has come.
    written_ms : int
        Last accepted write, settled when the last writer has left.
    term : int
        Highest term of the writes that it has accepted.
    writing, joins : dict of str to int
        Controllers that write it, with their first write; those about to.
    refusals : dict of str to (int or None)
        Controllers whose writes it refuses, with the first one; None when that is told.
    shown_ms, due_ms : int or None
        When an accepted write shows at the terminals; when a write is due that will not come.
    """

    name: str
    outputs: Outputs = Outputs.FAIL_STATE
    writer: str | None = None
    fresh: bool = False
    written_ms: int = 0
    term: int = 0
    writing: dict[str, int] = field(default_factory=dict)
    joins: dict[str, int] = field(default_factory=dict)
    refusals: dict[str, int | None] = field(default_factory=dict)
    shown_ms: int | None = None
    due_ms: int | None = None
    fight_since_ms: int | None = None


@dataclass(slots=True, eq=False)
class Voter:
    """Hold the state of the third voter.

    Attributes
    ----------
    heard : bool
        Whether the units count it as living.
    vote : str or None
        The unit that has its vote.
    due_ms, free_ms : int or None
        When it will be missed, or have listened long enough; when it will miss that unit.
    """

    name: str
    heard: bool = True
    vote: str | None = None
    due_ms: int | None = None
    free_ms: int | None = None


class Knowledge:
    """Hold units and racks and answer what each unit knows."""

    def __init__(self, units: list[UnitState], racks: list[Rack], settings: PairSettings,
                 damage: Damage, rules: tuple[Rule, ...], voter: Voter | None = None):
        self.units = units
        self.racks = racks
        self.settings = settings
        self.damage = damage
        self.voter = voter
        self.rules = {rule.key: rule for rule in rules}
        self.time_ms = 0
        self.record: list[Entry] = []
        self.differing: frozenset[str] = frozenset()
        self.wires_seen = False
        self._reach: dict[str, frozenset[str]] = {}
        self.look_at_ways()

    # ------------------------------------------------------------ questions

    def partner(self, unit: UnitState) -> UnitState | None:
        """Return the other unit of the pair."""
        return self.units[1 - unit.index] if len(self.units) == 2 else None

    def look_at_ways(self) -> None:
        """Find anew which racks each unit reaches, as far as it knows."""
        for unit in self.units:
            seen = {rack for rack, name in self.damage.seen if name == unit.name}
            passes = {rack for rack, name in self.damage.passes if name == unit.name}
            unit.found &= seen - passes
            if unit.role is Role.ACTIVE and not unit.frozen:
                unit.found |= seen - passes
            self._reach[unit.name] = frozenset(seen - unit.found)
        self.wires_seen = False

    def reach(self, unit: UnitState) -> frozenset[str]:
        """Return the racks that a unit reaches, as far as it knows."""
        return self._reach[unit.name]

    def may_lead(self, unit: UnitState) -> bool:
        """Return whether a unit reaches a rack, where there are any."""
        return bool(self._reach[unit.name]) or not self.racks

    def truly_reaches(self, unit: UnitState, rack: Rack) -> bool:
        """Return whether writes of a unit arrive at a rack."""
        return (rack.name, unit.name) in self.damage.passes

    def live(self, unit: UnitState) -> bool:
        """Return whether a unit hears its partner now."""
        return unit.contact is Contact.HEARD and unit.path_since_ms is not None

    def count_stands(self, unit: UnitState) -> bool:
        """Return whether the cycle count in the heartbeat of a unit stands still."""
        return (unit.frozen and self.settings.count_in_heartbeat
                and unit.role not in (Role.OFF, Role.STOPPED))

    def marks(self, unit: UnitState) -> int:
        """Return how many fresh marks of its partner a unit finds in the racks it reaches."""
        partner = self.partner(unit)
        if partner is None or not self.settings.ask_racks:
            return 0
        reach = self._reach[unit.name]
        return sum(rack.fresh and rack.name in reach
                   and (rack.writer == partner.name or partner.name in rack.writing)
                   for rack in self.racks)

    def looks(self, unit: UnitState) -> str:
        """Return what the racks, and the third voter, would answer a unit now."""
        if not self.may_lead(unit):
            return NO_RACK
        if self.voter is not None:
            if not self.voter_answers():
                return NO_VOTE
            if self.voter.vote not in (None, unit.name):
                return VOTED
        if not (self.settings.ask_racks and self.racks):
            return NOT_ASKED
        return FRESH if self.marks(unit) else AGEING

    def first_in_line(self, unit: UnitState) -> bool:
        """Return whether a unit comes before its partner where none leads."""
        partner = self.partner(unit)
        if partner is None or unit.known not in (Role.STANDBY, Role.LOADING):
            return True

        def place(each: UnitState) -> tuple:
            return (each.role is Role.STANDBY, len(self._reach[each.name]), -each.index)

        return not self.may_lead(partner) or max(self.units, key=place) is unit

    def voter_answers(self) -> bool:
        """Return whether the third voter gives an answer to who asks it now."""
        return self.damage.voter and self.voter.heard

    def outvoted(self, unit: UnitState) -> bool:
        """Return whether a unit knows that two of the three votes are not for it."""
        voter = self.voter
        if voter is None or voter.heard and voter.vote == unit.name:
            return False
        if unit.contact is Contact.UNKNOWN:  # the partner may be heard yet
            return voter.heard and voter.vote is not None
        return unit.contact is Contact.SILENT or (
            unit.known is Role.ACTIVE and min(self.units, key=self.right) is unit)

    def right(self, unit: UnitState) -> tuple[int, int, int]:
        """Return what decides between two units that lead; the greater one stays."""
        return (unit.term if self.settings.ask_racks else 0, len(self._reach[unit.name]),
                -unit.index)

    def next_term(self, unit: UnitState) -> int:
        """Return a term above all that a unit knows of.

        Those of the first unit are odd, those of the second even: no two ever have the same.
        """
        terms = [unit.term]
        if self.live(unit):
            terms.append(self.partner(unit).term)
        if self.settings.ask_racks:
            terms += [rack.term for rack in self.racks if rack.name in self._reach[unit.name]]
        above = max(terms) + 1
        return above + (above % 2 == unit.index)

    def taken(self, rack: Rack, unit: UnitState) -> bool:
        """Return whether a rack has a living writer other than a unit."""
        return bool(rack.writing.keys() - {unit.name}) or (
            rack.fresh and rack.writer != unit.name)

    def newer_mark(self, unit: UnitState) -> Rack | None:
        """Return the first rack in which a unit reads the fresh mark of a newer term."""
        if not self.settings.ask_racks:
            return None
        return next((rack for rack in self.racks if rack.name in self._reach[unit.name]
                     and rack.term > unit.term and self.taken(rack, unit)), None)

    def unseen(self) -> tuple:
        """Return what a pair at rest shows nobody and goes on by."""
        return (*((unit.contact, unit.frozen, unit.held, unit.put_out, unit.start_ms is not None,
                   sorted(unit.found)) for unit in self.units),
                *((rack.writer, rack.fresh, *rack.writing) for rack in self.racks))

    def data_flow(self, unit: UnitState) -> bool:
        """Return whether a unit receives the data of an active partner."""
        partner = self.partner(unit)
        return (partner is not None and self.live(unit) and unit.known is Role.ACTIVE
                and partner.leads and not self.differing)

    def better_by_marks(self, unit: UnitState) -> bool:
        """Return whether marks say that a leader reaches less, and the voter can be told so."""
        return (self.marks(unit) > 0 and (self.voter is None or self.voter_answers())
                and len(self.reach(unit)) > len(self.reach(self.partner(unit))))

    def waits_in_vain(self, unit: UnitState) -> bool:
        """Return whether a unit is kept waiting by a partner that beats and does not lead."""
        if self.partner(unit) is None or not unit.waits or not self.may_lead(unit) \
                or not self.live(unit):
            return False
        if unit.known is not Role.ACTIVE:
            return not self.first_in_line(unit)
        # rule 8: a ready standby does not miss a leader whose program stands still
        return (unit.role is Role.LOADING and not self.data_flow(unit) and self.voter is None
                and self.settings.ask_racks and not self.marks(unit))

    def stands(self, unit: UnitState) -> bool:
        """Return whether the reason for the takeover that a unit is about to make still holds."""
        take, partner = unit.take, self.partner(unit)
        if not unit.waits or not self.may_lead(unit):
            return False
        if take.kind == "silent":
            return (unit.contact is Contact.SILENT and unit.verdict in (AGEING, NOT_ASKED)
                    and self.looks(unit) == unit.verdict)
        if take.kind == "by marks":
            return (unit.contact is Contact.SILENT and partner.leads and self.better_by_marks(unit))
        if partner is None:
            return True
        if take.kind == "waited":
            return self.waits_in_vain(unit)
        if unit.contact is not Contact.HEARD:
            return False
        if (take.kind == "nobody leads") is (unit.known is Role.ACTIVE):
            return False  # decided anew, by the row that holds now
        if take.kind == "nobody leads":
            return self.first_in_line(unit)
        more = len(self.reach(unit)) - len(self.reach(partner))
        return self.live(unit) and unit.role is Role.STANDBY and (
            more > 0 if take.rule.key == "hand over" else more >= 0)

    # ------------------------------------------------------------ steps

    def note(self, who: str, what: str, old: str, new: str, why: str) -> None:
        """Put a line into the record."""
        self.record.append(Entry(self.time_ms, who, what, old, new, why))

    def set_role(self, unit: UnitState, role: Role, why: str) -> None:
        """Change a role."""
        if unit.role is not role:
            self.stop_load(unit, why)
            if unit.take is not None and role is not Role.ACTIVE:
                self.stop_take(unit)
            self.note(unit.name, "role", unit.role.value, role.value, why)
            unit.role = role
            unit.offer_ms = unit.yield_ms = unit.return_ms = unit.waited_ms = unit.take = None
            self.look_at_ways()

    def stop_load(self, unit: UnitState, why: str) -> None:
        """Let a unit stop copying the state of its partner, if it does."""
        if unit.load_from_ms is not None:
            unit.load_from_ms = None
            self.note(unit.name, "loading", "copying", "no", why)

    def set_contact(self, unit: UnitState, contact: Contact, why: str) -> None:
        """Change what a unit knows of its partner by the sync cable."""
        if unit.contact is not contact:
            if Contact.SILENT in (unit.contact, contact):
                self.note(unit.name, f"heartbeat of {self.partner(unit).name}",
                          unit.contact.value, contact.value, why)
            unit.contact = contact
            unit.verdict = unit.answer_ms = None
            if contact is Contact.UNKNOWN:
                unit.known = None

    def begin(self, unit: UnitState, why: str) -> None:
        """Let a unit start: it listens, and then loads or leads."""
        self.set_role(unit, Role.LOADING, why)
        self.listen(unit)

    def listen(self, unit: UnitState) -> None:
        """Let a unit forget what it knew of its partner and listen anew."""
        unit.path_since_ms = None
        unit.heard_ms = self.time_ms
        if len(self.units) == 2:
            self.set_contact(unit, Contact.UNKNOWN, f"{unit.name} starts to listen anew.")

    def why(self, key: str, unit: UnitState, **read: str) -> str:
        """Return the sentence of a row of the table for what a unit does, beside its partner."""
        partner = self.partner(unit)
        return self.rules[key].why(unit.name, partner and partner.name, **read)

    def decide(self, unit: UnitState, key: str, kind: str, **read: str) -> None:
        """Let a unit take over at its next cycle."""
        clock, why = unit.clock, self.why(key, unit, **read)
        ready_ms = clock.next_cycle(self.time_ms) + clock.cycle_ms
        unit.take = Take(self.rules[key], kind, why, clock.update_after(ready_ms))
        self.note(unit.name, "takeover", "none", "decided", why)

    def stop_take(self, unit: UnitState) -> None:
        """Stop a takeover that is on its way."""
        unit.take = None
        self.note(unit.name, "takeover", "decided", "none",
                  f"The reason for the takeover by {unit.name} is gone.")
