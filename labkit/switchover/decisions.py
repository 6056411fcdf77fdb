"""What a controller does by each row of the rule table.

Each function looks at one unit and acts or does not; it returns whether it changed anything. The
key of the row in `labkit.switchover.rules` leads to it.
"""

from collections.abc import Callable
from functools import partial

from labkit.switchover.knowledge import AGEING, FRESH, NOT_ASKED, VOTED, Knowledge, UnitState
from labkit.switchover.roles import Contact, Role


def _give_up(pair: Knowledge, unit: UnitState, wanted: bool, key: str) -> bool:
    if wanted and unit.yield_ms is None:
        unit.yield_ms, unit.gives_up = unit.clock.next_cycle(pair.time_ms), key
    elif not wanted and unit.gives_up == key:
        unit.yield_ms, unit.gives_up = None, ""
    return False


def _older_term(pair: Knowledge, unit: UnitState) -> bool:
    return _give_up(pair, unit, unit.leads and pair.newer_mark(unit) is not None, "older term")


def _two_lead(pair: Knowledge, unit: UnitState) -> bool:
    partner = pair.partner(unit)
    wanted = (unit.leads and partner is not None and pair.live(unit)
              and unit.known is Role.ACTIVE and pair.right(unit) < pair.right(partner))
    return _give_up(pair, unit, wanted, "two lead")


def _no_majority(pair: Knowledge, unit: UnitState) -> bool:
    return _give_up(pair, unit, unit.leads and pair.outvoted(unit), "no majority")


def _load_again(pair: Knowledge, unit: UnitState) -> bool:
    if unit.load_from_ms is None or pair.data_flow(unit):
        return False
    pair.stop_load(unit, pair.why("load again", unit))
    return True


def _load(pair: Knowledge, unit: UnitState) -> bool:
    if unit.role is not Role.LOADING or unit.frozen or unit.load_from_ms is not None \
            or not pair.data_flow(unit):
        return False
    unit.load_from_ms = pair.time_ms
    pair.note(unit.name, "loading", "no", "copying", pair.why("load", unit))
    return True


def _programs_differ(pair: Knowledge, unit: UnitState) -> bool:
    if unit.role is not Role.STANDBY or unit.frozen or not pair.differing \
            or not pair.live(unit) or unit.known is not Role.ACTIVE:
        return False
    pair.set_role(unit, Role.LOADING, pair.why("programs differ", unit))
    return True


def _nobody_leads(pair: Knowledge, unit: UnitState, *, role: Role, key: str) -> bool:
    partner = pair.partner(unit)
    if not unit.waits or unit.role is not role or unit.take is not None or not pair.may_lead(unit):
        return False
    if partner is not None and (unit.contact is not Contact.HEARD or unit.known is Role.ACTIVE
                                or not pair.first_in_line(unit)):
        return False
    pair.decide(unit, key, "nobody leads")
    return True


def _plan(unit: UnitState, moment: str, wanted: bool, time_ms: int) -> bool:
    """Plan what a unit does later, once, and as long as it is wanted."""
    if not wanted:
        setattr(unit, moment, None)
    elif getattr(unit, moment) is None:
        setattr(unit, moment, time_ms)
    return False


def _waited(pair: Knowledge, unit: UnitState) -> bool:
    wanted = unit.take is None and pair.waits_in_vain(unit)
    return _plan(unit, "waited_ms", wanted, pair.time_ms + pair.settings.wait_limit_ms)


def _ask(pair: Knowledge, unit: UnitState) -> bool:
    if not unit.waits or unit.contact is not Contact.SILENT or unit.answer_ms is not None \
            or pair.looks(unit) == unit.verdict:
        return False
    unit.answer_ms = pair.time_ms + pair.settings.decision_ms
    return True


def _replace_silent(pair: Knowledge, unit: UnitState, *, verdict: str, key: str) -> bool:
    if not unit.waits or unit.contact is not Contact.SILENT or unit.take is not None \
            or unit.verdict != verdict or pair.looks(unit) != verdict:
        return False
    pair.decide(unit, key, "silent")
    return True


def _hand_over(pair: Knowledge, unit: UnitState) -> bool:
    partner = pair.partner(unit)
    if not unit.leads:
        return False
    wanted = (partner is not None and partner.waits and partner.take is None
              and pair.live(unit) and pair.live(partner) and unit.known is Role.STANDBY
              and len(pair.reach(partner)) > len(pair.reach(unit)))
    # what the active unit finds out it acts on at its next cycle
    return _plan(unit, "offer_ms", wanted, unit.clock.next_cycle(pair.time_ms))


def _hand_over_by_marks(pair: Knowledge, unit: UnitState) -> bool:
    partner = pair.partner(unit)
    if unit.frozen or unit.role is not Role.STANDBY or partner is None:
        return False
    wanted = (unit.contact is Contact.SILENT and unit.take is None
              and unit.verdict in (FRESH, VOTED) and partner.leads and pair.better_by_marks(unit))
    return _plan(unit, "offer_ms", wanted, partner.clock.next_cycle(pair.time_ms))


def _returns(pair: Knowledge, unit: UnitState) -> bool:
    partner = pair.partner(unit)
    wanted = (pair.settings.return_policy == "returns" and unit.index == 0 and not unit.frozen
              and unit.take is None
              and unit.role is Role.STANDBY and partner is not None and pair.live(unit)
              and unit.known is Role.ACTIVE
              and len(pair.reach(unit)) >= len(pair.reach(partner)))
    return _plan(unit, "return_ms", wanted, pair.time_ms + pair.settings.return_wait_ms)


def _put_out(pair: Knowledge, unit: UnitState) -> bool:
    partner = pair.partner(unit)
    if not unit.leads or partner is None or unit.contact is not Contact.SILENT \
            or not pair.count_stands(partner) or not pair.damage.sync_ok:
        return False
    partner.put_out = True
    pair.set_role(partner, Role.STOPPED, pair.why("put out", partner))
    return True


ACTS: dict[str, Callable[[Knowledge, UnitState], bool]] = {
    "older term": _older_term,
    "two lead": _two_lead,
    "no majority": _no_majority,
    "load again": _load_again,
    "load": _load,
    "programs differ": _programs_differ,
    "lead": partial(_nobody_leads, role=Role.LOADING, key="lead"),
    "waited": _waited,
    "announced": partial(_nobody_leads, role=Role.STANDBY, key="announced"),
    "ask": _ask,
    "take over": partial(_replace_silent, verdict=AGEING, key="take over"),
    "unasked": partial(_replace_silent, verdict=NOT_ASKED, key="unasked"),
    "hand over": _hand_over,
    "hand over by marks": _hand_over_by_marks,
    "returns": _returns,
    "put out": _put_out,
}
"""What to do by each row; rows that are not here say what racks, wires and roles do by nature."""
