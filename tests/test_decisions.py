"""What a controller does by each row of the rule table: each condition of a row alone keeps it from acting."""

from types import SimpleNamespace

import pytest

from labkit.switchover.decisions import ACTS
from labkit.switchover.knowledge import AGEING, FRESH, NOT_ASKED, VOTED
from labkit.switchover.roles import Contact, Role

NEXT_CYCLE_MS, NOW_MS = 140, 100


def unit(name, role, known, **more):
    return SimpleNamespace(**{
        "name": name, "role": role, "known": known, "leads": role is Role.ACTIVE,
        "waits": role in (Role.STANDBY, Role.LOADING), "contact": Contact.HEARD, "frozen": False, "take": None,
        "verdict": "", "index": 0, "yield_ms": None, "gives_up": "", "load_from_ms": None, "waited_ms": None,
        "offer_ms": None, "return_ms": None, "answer_ms": None, "put_out": False,
        "clock": SimpleNamespace(next_cycle=lambda time_ms: time_ms + 40)} | more)


def acted(key, one, other, **more):
    """Return what a unit did: whether it changed something now, what was noted, and all that it plans."""
    did = []
    settings = SimpleNamespace(return_policy="returns", return_wait_ms=300, wait_limit_ms=500, decision_ms=20)
    pair = SimpleNamespace(**{
        "time_ms": NOW_MS, "settings": settings, "partner": lambda each: other if each is one else one,
        "live": lambda each: True, "right": lambda each: (1, each.index), "reach": lambda each: {"KF10"},
        "newer_mark": lambda each: None, "outvoted": lambda each: False, "data_flow": lambda each: True,
        "differing": (), "may_lead": lambda each: True, "first_in_line": lambda each: True,
        "waits_in_vain": lambda each: True, "looks": lambda each: "seen", "better_by_marks": lambda each: True,
        "count_stands": lambda each: True, "damage": SimpleNamespace(sync_ok=True), "why": lambda *_: "",
        "stop_load": lambda each, why: did.append(("stop", each.name)),
        "note": lambda *words: did.append(words[:4]),
        "set_role": lambda each, role, why: did.append((each.name, role)),
        "decide": lambda each, key, why: did.append((each.name, key, why))} | more)
    changed = ACTS[key](pair, one)
    plans = {name: getattr(one, name) for name in ("yield_ms", "offer_ms", "return_ms", "waited_ms", "answer_ms")}
    return changed, did, {name: ms for name, ms in plans.items() if ms is not None}


def leader(**more):
    return unit(**{"name": "KF1", "role": Role.ACTIVE, "known": Role.STANDBY} | more)


def standby(**more):
    return unit(**{"name": "KF2", "role": Role.STANDBY, "known": Role.ACTIVE, "index": 1} | more)


TWO = {"known": Role.ACTIVE}  # a leader that hears another one
GIVES_UP = (False, [], {"yield_ms": NEXT_CYCLE_MS})
NOTHING = (False, [], {})


@pytest.mark.parametrize(("key", "one", "more", "acts"), [
    ("older term", leader(), {"newer_mark": lambda each: "KF10"}, True), ("older term", leader(), {}, False),
    ("older term", standby(), {"newer_mark": lambda each: "KF10"}, False),
    ("no majority", leader(), {"outvoted": lambda each: True}, True), ("no majority", leader(), {}, False),
    ("no majority", standby(), {"outvoted": lambda each: True}, False),
    # of two that lead the one with less right, which hears the other and knows that it leads
    ("two lead", leader(index=-1, **TWO), {}, True), ("two lead", leader(index=5, **TWO), {}, False),
    ("two lead", leader(index=1, **TWO), {}, False), ("two lead", leader(index=-1), {}, False),
    ("two lead", leader(index=-1, **TWO), {"live": lambda each: False}, False),
    ("two lead", standby(index=-1), {}, False),
    ("two lead", leader(index=-1, **TWO), {"partner": lambda each: None}, False),
])
def test_a_leader_gives_up_at_its_next_cycle(key, one, more, acts):
    assert acted(key, one, standby(), **more) == (GIVES_UP if acts else NOTHING)
    assert one.gives_up == (key if acts else "")
    # it goes on with what it plans, and lets it be once that is not wanted; a plan for another reason stays
    one.yield_ms, one.gives_up = 117, "another"
    assert acted(key, one, standby(), **more)[2] == {"yield_ms": 117} and one.gives_up == "another"
    one.gives_up = key
    assert acted(key, one, standby(), **more)[2] == ({"yield_ms": 117} if acts else {})


LOADS = (True, [("KF2", "loading", "no", "copying")], {})


@pytest.mark.parametrize(("key", "one", "more", "done"), [
    ("load", standby(role=Role.LOADING), {}, LOADS), ("load", standby(), {}, NOTHING),
    ("load", standby(role=Role.LOADING, frozen=True), {}, NOTHING),
    ("load", standby(role=Role.LOADING, load_from_ms=0), {}, NOTHING),
    ("load", standby(role=Role.LOADING), {"data_flow": lambda each: False}, NOTHING),
    ("load again", standby(load_from_ms=0), {"data_flow": lambda each: False}, (True, [("stop", "KF2")], {})),
    ("load again", standby(load_from_ms=0), {}, NOTHING),
    ("load again", standby(), {"data_flow": lambda each: False}, NOTHING),
    ("programs differ", standby(), {"differing": {"KF2"}}, (True, [("KF2", Role.LOADING)], {})),
    ("programs differ", standby(), {}, NOTHING), ("programs differ", leader(**TWO), {"differing": {"KF2"}}, NOTHING),
    ("programs differ", standby(frozen=True), {"differing": {"KF2"}}, NOTHING),
    ("programs differ", standby(known=Role.STOPPED), {"differing": {"KF2"}}, NOTHING),
    ("programs differ", standby(), {"differing": {"KF2"}, "live": lambda each: False}, NOTHING),
])
def test_loading_begins_ends_and_is_begun_again(key, one, more, done):
    assert acted(key, one, leader(), **more) == done
    if done is LOADS:
        assert one.load_from_ms == NOW_MS


@pytest.mark.parametrize(("key", "role"), [("lead", Role.LOADING), ("announced", Role.STANDBY)])
@pytest.mark.parametrize(("own", "more", "acts"), [
    ({}, {}, True), ({"waits": False}, {}, False), ({"role": Role.ACTIVE}, {}, False), ({"take": "x"}, {}, False),
    ({}, {"may_lead": lambda each: False}, False), ({"contact": Contact.SILENT}, {}, False),
    ({"known": Role.ACTIVE}, {}, False), ({}, {"first_in_line": lambda each: False}, False),
    # alone it needs nobody's word
    ({"contact": Contact.UNKNOWN, "known": Role.ACTIVE}, {"partner": lambda each: None}, True),
])
def test_who_waits_decides_to_lead_where_nobody_does(key, role, own, more, acts):
    one = standby(**{"role": role, "known": Role.STOPPED} | own)
    assert acted(key, one, leader(), **more) == ((True, [("KF2", key, "nobody leads")], {}) if acts else NOTHING)


SILENT = {"contact": Contact.SILENT}


@pytest.mark.parametrize(("own", "more", "acts"), [
    (SILENT, {}, True), ({}, {}, False), (SILENT | {"waits": False}, {}, False), (SILENT | {"verdict": "seen"}, {}, False)])
def test_a_silent_partner_is_asked_for_at_the_racks(own, more, acts):
    assert acted("ask", standby(**own), leader(), **more) == (
        (True, [], {"answer_ms": NOW_MS + 20}) if acts else NOTHING)
    assert acted("ask", standby(**SILENT, answer_ms=7), leader()) == (False, [], {"answer_ms": 7})


@pytest.mark.parametrize(("key", "verdict"), [("take over", AGEING), ("unasked", NOT_ASKED)])
def test_a_silent_one_is_replaced_by_the_answer_that_still_holds(key, verdict):
    looks = {"looks": lambda each: verdict}
    good = SILENT | {"verdict": verdict}
    assert acted(key, standby(**good), leader(), **looks) == (True, [("KF2", key, "silent")], {})
    for wrong in ({"contact": Contact.HEARD}, {"waits": False}, {"take": "x"}, {"verdict": FRESH}):
        assert acted(key, standby(**good | wrong), leader(), **looks) == NOTHING
    assert acted(key, standby(**good), leader()) == NOTHING  # the racks say something else by now


def more_of(name):
    return {"reach": lambda each: {"KF10", "KF20"} if each.name == name else {"KF10"}}


@pytest.mark.parametrize(("one", "other", "more", "acts"), [
    (leader(), standby(), more_of("KF2"), True), (leader(), standby(), {}, False),
    (leader(), standby(), more_of("KF1"), False), (leader(), standby(waits=False), more_of("KF2"), False),
    (leader(), standby(take="x"), more_of("KF2"), False), (leader(known=Role.LOADING), standby(), more_of("KF2"), False),
    (leader(), standby(), more_of("KF2") | {"live": lambda each: each.name == "KF1"}, False),
    (leader(), standby(), more_of("KF2") | {"live": lambda each: each.name == "KF2"}, False),
    (standby(), leader(), more_of("KF1"), False), (leader(), None, more_of("KF2"), False),
])
def test_a_leader_offers_to_hand_over_to_who_reaches_more(one, other, more, acts):
    assert acted("hand over", one, other, **more) == ((False, [], {"offer_ms": NEXT_CYCLE_MS}) if acts else NOTHING)
    if one.leads:
        one.offer_ms = 117
        assert acted("hand over", one, other, **more)[2] == ({"offer_ms": 117} if acts else {})


@pytest.mark.parametrize(("own", "other", "more", "acts"), [
    ({"verdict": FRESH}, leader(), {}, True), ({"verdict": VOTED}, leader(), {}, True), ({"verdict": AGEING}, leader(), {}, False),
    ({"verdict": FRESH, "frozen": True}, leader(), {}, False), ({"verdict": FRESH, "role": Role.LOADING}, leader(), {}, False),
    ({"verdict": FRESH}, None, {}, False), ({"verdict": FRESH, "take": "x"}, leader(), {}, False),
    ({"verdict": FRESH, "contact": Contact.HEARD}, leader(), {}, False), ({"verdict": FRESH}, leader(leads=False), {}, False),
    ({"verdict": FRESH}, leader(), {"better_by_marks": lambda each: False}, False)])
def test_a_standby_that_is_better_by_the_marks_takes_over_at_the_next_cycle_of_the_other(own, other, more, acts):
    assert acted("hand over by marks", standby(**SILENT | own), other, **more) == (
        (False, [], {"offer_ms": NEXT_CYCLE_MS}) if acts else NOTHING)


@pytest.mark.parametrize(("own", "more", "acts"), [
    ({}, {}, True), ({"index": 1}, {}, False), ({"frozen": True}, {}, False), ({"take": "x"}, {}, False),
    ({"role": Role.LOADING}, {}, False), ({"known": Role.STANDBY}, {}, False), ({}, {"live": lambda each: False}, False),
    ({}, more_of("KF1"), False), ({}, more_of("KF2"), True), ({}, {"partner": lambda each: None}, False),
    ({}, {"settings": SimpleNamespace(return_policy="stays", return_wait_ms=300)}, False)])
def test_the_first_unit_takes_the_lead_back_where_that_is_set(own, more, acts):
    assert acted("returns", standby(**{"index": 0} | own), leader(), **more) == (
        (False, [], {"return_ms": NOW_MS + 300}) if acts else NOTHING)


def test_who_waits_in_vain_waits_no_longer_than_the_limit():
    assert acted("waited", standby(), leader()) == (False, [], {"waited_ms": NOW_MS + 500})
    assert acted("waited", standby(waited_ms=117), leader()) == (False, [], {"waited_ms": 117})
    for own, more in (({"take": "x"}, {}), ({}, {"waits_in_vain": lambda each: False})):
        assert acted("waited", standby(waited_ms=117, **own), leader(), **more) == NOTHING


@pytest.mark.parametrize(("one", "other", "more", "acts"), [
    (leader(**SILENT), standby(), {}, True), (leader(), standby(), {}, False), (standby(**SILENT), leader(), {}, False),
    (leader(**SILENT), None, {}, False), (leader(**SILENT), standby(), {"count_stands": lambda each: False}, False),
    (leader(**SILENT), standby(), {"damage": SimpleNamespace(sync_ok=False)}, False)])
def test_a_partner_whose_count_stands_still_is_put_out(one, other, more, acts):
    assert acted("put out", one, other, **more) == ((True, [("KF2", Role.STOPPED)], {}) if acts else NOTHING)
    assert other is None or other.put_out is acts
