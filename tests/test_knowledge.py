"""What each unit of a pair hears and knows, asked of states made by hand, and the steps by which a rule acts."""

from types import SimpleNamespace

import pytest

from labkit.switchover.clocks import Clock
from labkit.switchover.knowledge import (
    AGEING,
    FRESH,
    NO_RACK,
    NO_VOTE,
    NOT_ASKED,
    VOTED,
    Knowledge,
    Rack,
    Take,
    UnitState,
    Voter,
)
from labkit.switchover.roles import Contact, Role
from labkit.switchover.rules import RULES
from labkit.switchover.settings import PairSettings

CLOCK = Clock(40, 50, 20)
RULE = {rule.key: rule for rule in RULES}
HEARS = {"contact": Contact.HEARD, "path_since_ms": 0}
SILENT = {"contact": Contact.SILENT}
LEADS, STANDS_BY, LOADS = ({"role": role} for role in (Role.ACTIVE, Role.STANDBY, Role.LOADING))
MARK = {"fresh": True, "writer": "B"}  # of the partner, in a rack


def knows(one=(), other=(), *, reach=("PQ", "PQ"), passes=None, racks="PQ", marks=(), voter=None, whole=True,
          differing=(), units=2, **settings):
    """A and B beside the racks P and Q: what both are, see and reach, and what stands in the racks."""
    both = [UnitState("A", 0, CLOCK, **dict(one)), UnitState("B", 1, CLOCK, **dict(other))][:units]
    seen, arrive = (frozenset((rack, unit.name) for unit, there in zip(both, ways, strict=False) for rack in there)
                    for ways in (reach, passes or reach))
    pair = Knowledge(both, [Rack(name, **dict(marks).get(name, {})) for name in racks], PairSettings(**settings),
                     SimpleNamespace(seen=seen, passes=arrive, voter=whole), RULES, voter)
    pair.time_ms, pair.differing = 1000, frozenset(differing)
    return pair, *both


@pytest.mark.parametrize(("one", "reached", "found"), [
    (LEADS, "P", "Q"), (STANDS_BY, "PQ", ""), (LEADS | {"frozen": True}, "PQ", ""),
    (STANDS_BY | {"found": {"Q"}}, "P", "Q"), (STANDS_BY | {"found": {"P"}}, "PQ", "")])
def test_who_leads_finds_out_which_silent_interface_is_dead(one, reached, found):
    """To Q the way looks whole, and nothing arrives. What has been found stays until it arrives again."""
    pair, unit, _ = knows({**one, "found": {*one.get("found", ())}}, passes=("P", "PQ"))
    assert pair.reach(unit) == {*reached} and unit.found == {*found} and not pair.wires_seen
    assert [pair.truly_reaches(unit, rack) for rack in pair.racks] == [True, False]


@pytest.mark.parametrize(("more", "may"), [
    ({}, True), ({"reach": ("", "PQ")}, False), ({"reach": ("", ""), "racks": ""}, True), ({"reach": ("Q", "")}, True)])
def test_who_reaches_no_rack_does_not_lead_where_there_are_racks(more, may):
    pair, unit, _ = knows(**more)
    assert pair.may_lead(unit) is may


@pytest.mark.parametrize(("one", "runs", "leads", "waits"), [
    (LEADS, True, True, False), (STANDS_BY, True, False, True), (LOADS, True, False, True),
    (LEADS | {"frozen": True}, False, False, False), (STANDS_BY | {"frozen": True}, False, False, False),
    ({"role": Role.OFF}, False, False, False), ({"role": Role.STOPPED}, False, False, False)])
def test_what_a_role_means(one, runs, leads, waits):
    unit = UnitState("A", 0, CLOCK, **one)
    assert (unit.runs, unit.leads, unit.waits) == (runs, leads, waits)


@pytest.mark.parametrize(("one", "counted", "live", "stands"), [
    (HEARS | LEADS, True, True, False), (HEARS | LEADS | {"frozen": True}, True, True, True),
    (HEARS | LEADS | {"frozen": True}, False, True, False), (SILENT | {"path_since_ms": 0}, True, False, False),
    ({"contact": Contact.HEARD}, True, False, False), ({"role": Role.OFF, "frozen": True}, True, False, False),
    ({"role": Role.STOPPED, "frozen": True}, True, False, False)])
def test_who_is_heard_now_and_whose_count_stands_still(one, counted, live, stands):
    pair, unit, _ = knows(one, count_in_heartbeat=counted)
    assert (pair.live(unit), pair.count_stands(unit)) == (live, stands)


@pytest.mark.parametrize(("marks", "more", "count"), [
    ({}, {}, 0), ({"P": MARK}, {}, 1), ({"P": MARK, "Q": MARK}, {}, 2), ({"P": MARK, "Q": MARK}, {"ask_racks": False}, 0),
    ({"P": MARK | {"fresh": False}}, {}, 0), ({"P": MARK | {"writer": "A"}}, {}, 0),
    ({"P": MARK | {"writer": None, "writing": {"A": 0, "B": 0}}}, {}, 1), ({"P": MARK}, {"reach": ("Q", "PQ")}, 0),
    ({"P": {"writer": "B", "writing": {"B": 0}}}, {}, 0), ({"P": MARK}, {"units": 1}, 0)])
def test_marks_of_the_partner_are_counted_where_they_are_fresh_and_reached(marks, more, count):
    pair, unit, *_ = knows(marks=marks, **more)
    assert pair.marks(unit) == count


@pytest.mark.parametrize(("more", "answer"), [
    ({}, AGEING), ({"marks": {"Q": MARK}}, FRESH), ({"reach": ("", "PQ")}, NO_RACK), ({"ask_racks": False}, NOT_ASKED),
    ({"racks": "", "reach": ("", "")}, NOT_ASKED), ({"voter": Voter("V")}, AGEING),
    ({"voter": Voter("V", vote="A")}, AGEING), ({"voter": Voter("V", vote="B")}, VOTED),
    ({"voter": Voter("V", heard=False, vote="B")}, NO_VOTE), ({"voter": Voter("V"), "whole": False}, NO_VOTE),
    ({"voter": Voter("V", vote="A"), "marks": {"P": MARK}}, FRESH)])
def test_what_racks_and_voter_answer(more, answer):
    pair, unit, _ = knows(**more)
    assert pair.looks(unit) == answer


@pytest.mark.parametrize(("one", "other", "reach", "first"), [
    # What is not known to wait is no rival; then a standby comes before who loads, who reaches more, the first.
    (STANDS_BY | {"known": Role.STOPPED}, STANDS_BY, ("P", "PQ"), (True, True)),
    (STANDS_BY | {"known": Role.STANDBY}, STANDS_BY | {"known": Role.STANDBY}, ("PQ", "PQ"), (True, False)),
    (STANDS_BY | {"known": Role.STANDBY}, STANDS_BY | {"known": Role.STANDBY}, ("P", "PQ"), (False, True)),
    (LOADS | {"known": Role.STANDBY}, STANDS_BY | {"known": Role.LOADING}, ("PQ", "P"), (False, True)),
    (LOADS | {"known": Role.LOADING}, LOADS | {"known": Role.LOADING}, ("PQ", "PQ"), (True, False)),
    (LOADS | {"known": Role.STANDBY}, STANDS_BY | {"known": Role.LOADING}, ("PQ", ""), (True, True)),
])
def test_who_comes_first_where_nobody_leads(one, other, reach, first):
    pair, *units = knows(one, other, reach=reach)
    assert tuple(map(pair.first_in_line, units)) == first
    alone, unit = knows(LOADS | {"known": Role.STANDBY}, units=1)
    assert alone.first_in_line(unit) and alone.partner(unit) is None


OWN, FREE, THEIRS, GONE = Voter("V", vote="A"), Voter("V"), Voter("V", vote="B"), Voter("V", heard=False, vote="A")
RIVAL = HEARS | LEADS | {"known": Role.ACTIVE}


@pytest.mark.parametrize(("one", "other", "voter", "out"), [
    (SILENT, {}, None, False), (SILENT, {}, OWN, False), (SILENT, {}, THEIRS, True), (SILENT, {}, FREE, True),
    (SILENT, {}, GONE, True), ({}, {}, FREE, False), ({}, {}, THEIRS, True), ({}, {}, GONE, False),
    (HEARS, {}, THEIRS, False), (RIVAL | {"term": 1}, {"term": 2}, THEIRS, True),
    (RIVAL | {"term": 3}, {"term": 2}, THEIRS, False), (RIVAL | {"known": Role.STANDBY}, {"term": 2}, THEIRS, False)])
def test_who_knows_that_two_votes_of_three_are_not_for_it(one, other, voter, out):
    pair, unit, _ = knows(one, other, voter=voter)
    assert pair.outvoted(unit) is out


def test_the_right_to_lead_is_the_term_then_the_reach_then_the_number():
    pair, one, other = knows({"term": 3}, {"term": 2}, reach=("P", "PQ"))
    assert (pair.right(one), pair.right(other)) == ((3, 1, 0), (2, 2, -1))
    unread, one, other = knows({"term": 3}, {"term": 2}, ask_racks=False)
    assert (unread.right(one), unread.right(other)) == ((0, 2, 0), (0, 2, -1))


@pytest.mark.parametrize(("own", "terms"), [(0, (1, 2)), (1, (3, 2)), (2, (3, 4)), (3, (5, 4)), (4, (5, 6))])
def test_terms_of_the_first_unit_are_odd_and_of_the_second_even(own, terms):
    pair, *units = knows({"term": own}, {"term": own})
    assert tuple(map(pair.next_term, units)) == terms


@pytest.mark.parametrize(("one", "more", "term"), [
    ({}, {}, 9), (HEARS, {}, 31), ({}, {"reach": ("P", "PQ")}, 5), ({"term": 20}, {}, 21), ({}, {"ask_racks": False}, 1),
    (HEARS, {"ask_racks": False}, 31)])
def test_a_new_term_is_above_all_that_the_unit_knows_of(one, more, term):
    """30 of the partner if it is heard, 4 in P and 8 in Q where they are read and reached."""
    pair, unit, _ = knows(one, {"term": 30}, marks={"P": {"term": 4}, "Q": {"term": 8}}, **more)
    assert pair.next_term(unit) == term


@pytest.mark.parametrize(("mark", "taken"), [
    ({}, False), (MARK, True), (MARK | {"fresh": False}, False), (MARK | {"writer": "A"}, False),
    ({"writing": {"B": 0}}, True), ({"writing": {"A": 0}}, False), ({"writing": {"A": 0, "B": 0}}, True)])
def test_a_rack_is_taken_by_a_living_writer_other_than_oneself(mark, taken):
    pair, unit, _ = knows(marks={"P": mark})
    assert pair.taken(pair.racks[0], unit) is taken
    newer, *_ = knows({"term": 1}, marks={"P": mark | {"term": 2}})
    assert newer.newer_mark(newer.units[0]) is (newer.racks[0] if taken else None)


@pytest.mark.parametrize(("terms", "more", "rack"), [
    ((2, 2), {}, "P"), ((1, 2), {}, "Q"), ((1, 1), {}, None), ((2, 2), {"reach": ("Q", "PQ")}, "Q"),
    ((2, 2), {"ask_racks": False}, None)])
def test_the_first_newer_mark_that_is_read_counts(terms, more, rack):
    pair, unit, _ = knows({"term": 1}, marks={name: MARK | {"term": term} for name, term in zip("PQ", terms, strict=True)},
                          **more)
    found = pair.newer_mark(unit)
    assert (found and found.name) == rack


FOLLOWS = HEARS | {"known": Role.ACTIVE}


@pytest.mark.parametrize(("one", "other", "more", "flows"), [
    (FOLLOWS, LEADS, {}, True), (FOLLOWS, LEADS, {"differing": "A"}, False), (FOLLOWS, LEADS | {"frozen": True}, {}, False),
    (FOLLOWS, STANDS_BY, {}, False), (FOLLOWS | {"known": Role.STANDBY}, LEADS, {}, False),
    (FOLLOWS | SILENT, LEADS, {}, False), (FOLLOWS, LEADS, {"units": 1}, False)])
def test_data_flow_from_an_active_partner_that_is_heard(one, other, more, flows):
    pair, unit, *_ = knows(one, other, **more)
    assert pair.data_flow(unit) is flows


@pytest.mark.parametrize(("reach", "marks", "voter", "better"), [
    (("PQ", "P"), {"P": MARK}, None, True), (("PQ", "P"), {}, None, False), (("PQ", "PQ"), {"P": MARK}, None, False),
    (("PQ", "P"), {"P": MARK}, FREE, True), (("PQ", "P"), {"P": MARK}, GONE, False)])
def test_who_reaches_more_than_the_leader_by_its_marks(reach, marks, voter, better):
    pair, unit, _ = knows(STANDS_BY, LEADS, reach=reach, marks=marks, voter=voter)
    assert pair.better_by_marks(unit) is better


BEHIND = STANDS_BY | HEARS | {"known": Role.STANDBY}


@pytest.mark.parametrize(("other", "more", "vain"), [
    # the second of two that stand by waits for the first; for one that leads it does not
    (BEHIND, {}, True), (BEHIND | {"known": Role.STOPPED}, {}, False), (BEHIND | {"frozen": True}, {}, False),
    (BEHIND | SILENT, {}, False), (BEHIND, {"reach": ("PQ", "")}, False), (BEHIND | {"known": Role.ACTIVE}, {}, False),
    # a leader that beats and does not write, for one that loads and gets no data of it
    (LOADS | FOLLOWS, {}, True), (LOADS | FOLLOWS, {"marks": {"P": {"fresh": True, "writer": "A"}}}, False),
    (LOADS | FOLLOWS, {"ask_racks": False}, False), (LOADS | FOLLOWS, {"voter": FREE}, False)])
def test_who_waits_in_vain_for_a_partner_that_beats(other, more, vain):
    pair, _, unit = knows(STANDS_BY | {"known": Role.STANDBY}, other, **more)
    assert pair.waits_in_vain(unit) is vain


def test_who_gets_data_or_is_alone_waits_for_nobody():
    pair, _, unit = knows(LEADS, LOADS | FOLLOWS)
    assert pair.data_flow(unit) and not pair.waits_in_vain(unit)
    alone, unit = knows(BEHIND, units=1)
    assert not alone.waits_in_vain(unit)


ANSWERED = STANDS_BY | SILENT | {"verdict": AGEING}
HEARD = STANDS_BY | FOLLOWS


@pytest.mark.parametrize(("kind", "key", "own", "other", "more", "stands"), [
    ("silent", "take over", ANSWERED, {}, {}, True), ("silent", "take over", ANSWERED | HEARS, {}, {}, False),
    ("silent", "take over", ANSWERED, {}, {"marks": {"P": {"fresh": True, "writer": "A"}}}, False),
    ("silent", "take over", ANSWERED | {"verdict": FRESH}, {}, {"marks": {"P": {"fresh": True, "writer": "A"}}}, False),
    ("silent", "unasked", ANSWERED | {"verdict": NOT_ASKED}, {}, {"ask_racks": False}, True),
    ("silent", "take over", ANSWERED | {"frozen": True}, {}, {}, False),
    ("silent", "take over", ANSWERED, {}, {"reach": ("PQ", "")}, False),
    *(("by marks", "hand over by marks", own, other, {"reach": reach, "marks": {"P": {"fresh": True, "writer": "A"}}}, stands)
      for own, other, reach, stands in (
          (STANDS_BY | SILENT, LEADS, ("P", "PQ"), True), (STANDS_BY | SILENT, LEADS, ("PQ", "PQ"), False),
          (STANDS_BY | HEARS, LEADS, ("P", "PQ"), False), (STANDS_BY | SILENT, LEADS | {"frozen": True}, ("P", "PQ"), False))),
    ("waited", "waited", BEHIND, STANDS_BY | {"known": Role.STANDBY}, {}, True),
    ("waited", "waited", HEARD, STANDS_BY, {}, False),
    ("nobody leads", "announced", BEHIND | {"known": Role.STOPPED}, {"role": Role.STOPPED}, {}, True),
    ("nobody leads", "announced", HEARD, LEADS, {}, False), ("nobody leads", "announced", BEHIND, STANDS_BY, {}, False),
    ("nobody leads", "announced", STANDS_BY | SILENT | {"known": Role.STOPPED}, {}, {}, False),
    *(("planned", key, own, LEADS, {"reach": reach}, stands) for key, own, reach, stands in (
        ("hand over", HEARD, ("P", "PQ"), True), ("hand over", HEARD, ("PQ", "PQ"), False),
        ("by hand", HEARD, ("PQ", "PQ"), True), ("by hand", HEARD, ("PQ", "P"), False),
        ("returns", HEARD | SILENT, ("PQ", "PQ"), False), ("by hand", LOADS | FOLLOWS, ("PQ", "PQ"), False),
        ("by hand", HEARD | {"known": Role.STANDBY}, ("PQ", "PQ"), False),
        ("by hand", HEARD | {"path_since_ms": None}, ("PQ", "PQ"), False)))])
def test_a_takeover_stands_as_long_as_its_reason(kind, key, own, other, more, stands):
    pair, _, unit = knows(other, own, **more)
    unit.take = Take(RULE[key], kind, "", 2000)
    assert pair.stands(unit) is stands


def test_a_unit_that_is_alone_has_its_own_reason():
    pair, unit = knows(LOADS, units=1)
    unit.take = Take(RULE["lead"], "nobody leads", "", 2000)
    assert pair.stands(unit)


# ---------------------------------------------------------------- steps


def told(pair):
    return [(entry.time_ms, entry.who, entry.what, entry.old, entry.new) for entry in pair.record]


def test_a_new_role_ends_what_was_planned_for_the_old_one():
    plans = dict.fromkeys(("offer_ms", "yield_ms", "return_ms", "waited_ms"), 2000)
    for role, stopped in ((Role.STOPPED, True), (Role.ACTIVE, False)):
        pair, unit, _ = knows(STANDS_BY | plans | {"load_from_ms": 900, "take": Take(RULE["lead"], "silent", "", 2000)})
        pair.set_role(unit, Role.STANDBY, "nothing new")
        assert told(pair) == [] and unit.take is not None and unit.offer_ms == 2000
        pair.set_role(unit, role, "so it is")
        assert told(pair) == [(1000, "A", "loading", "copying", "no"),
                              *[(1000, "A", "takeover", "decided", "none")] * stopped,
                              (1000, "A", "role", "standby", role.value)]
        assert unit.role is role and unit.take is unit.load_from_ms is None
        assert {getattr(unit, name) for name in plans} == {None}


def test_only_silence_is_told_of_what_is_heard():
    pair, unit, _ = knows(HEARS | {"known": Role.ACTIVE, "verdict": FRESH, "answer_ms": 7})
    pair.set_contact(unit, Contact.HEARD, "as before")
    assert unit.verdict == FRESH and told(pair) == []
    pair.set_contact(unit, Contact.SILENT, "missed")
    assert told(pair) == [(1000, "A", "heartbeat of B", "heard", "missed")]
    assert unit.verdict is unit.answer_ms is None and unit.known is Role.ACTIVE
    pair.set_contact(unit, Contact.HEARD, "again")
    assert told(pair)[1:] == [(1000, "A", "heartbeat of B", "missed", "heard")]
    pair.set_contact(unit, Contact.UNKNOWN, "anew")
    assert len(pair.record) == 2 and unit.known is None and unit.contact is Contact.UNKNOWN


def test_who_begins_listens_anew():
    pair, unit, _ = knows(STANDS_BY | FOLLOWS | {"heard_ms": 10})
    pair.begin(unit, "started")
    assert (unit.role, unit.path_since_ms, unit.heard_ms, unit.contact) == (Role.LOADING, None, 1000, Contact.UNKNOWN)
    alone, unit = knows(STANDS_BY | {"contact": Contact.HEARD}, units=1)
    alone.begin(unit, "started")
    assert (unit.heard_ms, unit.contact, alone.record[0].who) == (1000, Contact.HEARD, "A")


def test_a_takeover_writes_first_with_the_update_after_its_next_cycle():
    """At 1000: the next cycle begins at 1040, its result is ready at 1080, the update after it is at 1100."""
    pair, unit, _ = knows(ANSWERED)
    pair.decide(unit, "take over", "silent")
    assert (unit.take.write_ms, unit.take.kind, unit.take.rule.key) == (1100, "silent", "take over")
    assert unit.take.why == RULE["take over"].why("A", "B") and told(pair) == [(1000, "A", "takeover", "none", "decided")]
    pair.stop_take(unit)
    assert unit.take is None and told(pair)[1:] == [(1000, "A", "takeover", "decided", "none")]


def test_what_nobody_is_shown_tells_states_apart():
    pair, *_ = knows({"held": "stopped", "start_ms": 7, "found": {"Q"}}, {"frozen": True, "put_out": True},
                     passes=("P", "PQ"), marks={"P": MARK | {"writing": {"B": 0}}})
    assert pair.unseen() == ((Contact.UNKNOWN, False, "stopped", False, True, ["Q"]),
                             (Contact.UNKNOWN, True, "", True, False, []), ("B", True, "B"), (None, False))
