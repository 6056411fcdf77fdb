"""What an act did, in one sentence and in rows, held to records worked by hand."""

from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.acts import (
    RecordRow,
    _alarms,
    _leading,
    _outputs,
    _panels,
    _rate,
    act_said,
    latest_rows,
    rows_of,
)
from labkit.rig.rig import Rig
from labkit.switchover.roles import Entry, Outputs, Role
from labkit.switchover.settings import PairSettings
from labkit.wording import listed
from lessons.pictures.boards import verdict_of


def said_after(*acts, plant=None, settings=None, wait_s=10):
    """Do several acts, and say what the last of them did."""
    rig = Rig(plant, settings=settings)
    rig.wait(wait_s)
    for verb, fault in acts:
        before = rig.view()
        rig.do(verb, fault)
        rig.wait(wait_s)
    return act_said(before, rig.view())


@pytest.mark.parametrize(
    ("acts", "words"),
    [
        # 229 ms to the takeover and 5 ms of output filter: the record of lesson 04.
        ([("on", "KF1: no power")],
         "0.229 s: KF2 took over, outputs held 234 ms, nothing lost; "
         "from here 0.77 outages a year instead of 0.46."),
        ([("on", "KF2: no power")],
         "KF1 still leads and KF2 is off, nothing lost; "
         "from here 0.77 outages a year instead of 0.46."),
        ([("on", "TF1: no power")],
         "KF1 still leads, PH1 is blind, nothing lost; outages a year as before."),
        ([("on", "TF1: no power"), ("off", "TF1: no power")],
         "KF1 still leads, PH1 sees the plant again, nothing lost; outages a year as before."),
        ([("on", "KF2: own fault")],
         "KF1 still leads and KF2 is stopped, nothing lost; "
         "from here 0.77 outages a year instead of 0.46."),
        # What nobody sees in the picture is told by its alarm, or by having none.
        ([("on", "WF2.10: cut")],
         "KF1 still leads, alarm: no data between KF2 and rack KF10, nothing lost; "
         "from here 0.77 outages a year instead of 0.46."),
        ([("on", "KF2: stopped"), ("role change", "")],
         "Refused, as KF2 is stopped: KF1 still leads, nothing lost; outages a year as before."),
        ([("on", "KF2: stopped"), ("on", "KF1: restarted")],
         "KF1 leads again, outputs held 85 ms, nothing lost; outages a year as before."),
        ([("on", "BL1: stuck")],
         "KF1 still leads, no alarm tells of it; control kept: lost."),
        # Money is not all: what stands in its fail state is not "nothing lost".
        ([("on", "WF1+WF2: cut"), ("on", "PH1: dark")],
         "KF1 still leads, outputs of KF10 still in fail state, PH1 is dark."),
    ],
)
def test_the_last_act_in_one_sentence(acts, words):
    assert said_after(*acts) == words


def test_what_is_lost_is_said():
    frozen = said_after(("on", "KF1: frozen"), wait_s=60)
    assert frozen.startswith("KF1 still leads, outputs of KF10, KF20 and KF30 in fail state, ")
    assert "EUR 11\u202f000 lost; control kept: lost." in frozen
    both = said_after(("on", "KF1: no power"), ("on", "KF2: no power"))
    assert both.startswith("Nobody leads, ") and "control kept: lost." in both
    back = said_after(("on", "KF1: no power"), ("on", "KF2: no power"), ("off", "KF2: no power"),
                      wait_s=60)
    assert "KF2 leads, " in back and "from here 0.77 outages a year." in back


def test_alarms_are_left_to_the_list_where_outputs_say_it():
    lost = [("on", "KF10: module fault")]
    for acts, words in (
            (lost, "KF1 still leads, outputs of KF10 in fail state; fans kept: lost."),
            ([*lost, ("off", "KF10: module fault")], "KF1 still leads, outputs of KF10 written again, "
             "nothing lost; from here 0.34 outages a year.")):
        assert said_after(*acts, plant=load_plant("mirelow")) == words


def test_two_that_lead_are_said():
    said = said_after(("on", "WF9: cut"), settings=PairSettings(ask_racks=False))
    assert said.startswith("KF1 and KF2 lead at the same time, two writers fight over KF10, ")


def test_a_planned_switchover_loses_nothing():
    said = said_after(("role change", ""))
    assert "KF2 took over" in said and "nothing lost; outages a year as before." in said


def entry(time_ms, who, what="outputs", old="written", new="held", why="No write to {}."):
    return Entry(time_ms, who, what, old, new, why.format(who))


def test_what_happened_to_several_at_once_is_one_row():
    record = [entry(5, "KF10"), entry(5, "KF20"), entry(5, "KF30"), entry(6, "KF10", new="written"),
              entry(6, "KF20", why="Another reason at {}.")]
    rows = rows_of(record)
    assert [(row.time_ms, row.who, row.new) for row in rows] == [
        (5, ("KF10", "KF20", "KF30"), "held"), (6, ("KF10",), "written"), (6, ("KF20",), "held")]
    assert rows[0].why == "No write to KF10, KF20 and KF30."
    assert rows[0].text == "KF10, KF20 and KF30 outputs: written to held"
    many, = rows_of([entry(5, f"KF{number}0") for number in range(1, 7)])
    assert many.text == "KF10, KF20, KF30, KF40 and 2 more outputs: written to held"


def test_alarms_of_several_at_once_are_one_row_and_the_headline_says_no_rack_twice():
    # All racks let go 467 ms after their supply went: the record of TB1 in tests/test_engine.py.
    rig = Rig()
    rig.switch_on("TB1: off")
    rig.wait(2)
    assert [row.text for row in rows_of(rig.record) if row.time_ms == 467] == [
        "KF10, KF20 and KF30 outputs: held to fail state",
        "alarm: outputs of rack KF10, KF20 and KF30 in fail state"]
    seen = verdict_of(rig.view())
    assert " ".join((seen.sentence, *seen.more)).count("fail state") == 1
    # Two alarms that differ in more than their name stay two.
    told = [Entry(5, unit, "alarm", "", words, "") for unit, words in
            (("PH1", "PH1 is blind"), ("KF1", "level low"), ("KF2", "level low"))]
    assert len(rows_of(told)) == 3
    # nor are they one where only their reasons name them
    told = [Entry(5, unit, "alarm", "", "level low", f"{unit} reads it") for unit in ("KF1", "KF2")]
    assert [row.who for row in rows_of(told)] == [("KF1",), ("KF2",)]


def test_nothing_of_a_record_is_lost_in_its_rows():
    rig = Rig()
    for fault in ("KF1: no power", "WF9: noise", "WF1+WF2: cut", "KF2: frozen"):
        rig.switch_on(fault)
        rig.wait(20)
    told = [(row.time_ms, who, row.what, *(each.replace(listed(row.who), who) for each in
             (row.old, row.new))) for row in rows_of(rig.record) for who in row.who]
    kept = [(e.time_ms, e.who, e.what, e.old, e.new) for e in rig.record]
    assert sorted(told) == sorted(set(kept)) and len(rows_of(rig.record)) < len(kept)


@pytest.mark.parametrize("most", [2, 3, 4, 9])
def test_the_cause_is_never_dropped(most):
    rig = Rig()
    for fault in ("TF1: no power", "KF1: no power"):
        rig.switch_on(fault)
        rig.wait(10)
    rows = latest_rows(rig.record, most)
    assert len(rows) == most and rows[0].text == "fault on: KF1: no power"
    assert rows[-1] == rows_of(rig.record)[-1]
    assert latest_rows([], most) == ()


def test_a_long_record_is_cut_where_it_does_not_matter():
    rig = Rig(settings=PairSettings(ask_racks=False))
    rig.switch_on("WF9: cut")
    rig.wait(60)
    rig.switch_on("KF1: restarted")
    rig.wait(60)
    assert latest_rows(rig.record) == tuple(
        [next(r for r in reversed(rows_of(rig.record)) if r.by_hand), *rows_of(rig.record)[-3:]])


# ---------------------------------------------------------------- two states worked by hand


def view(roles="as", outputs="ww", *, alarms=(), panels=(), fight=(), works=(("run", True),), per_year=1.0,
         time_ms=0, record=(), happened=(), cost=0.0):
    """Return a state: roles of KF1 and KF2, and outputs of KF10 and KF20, by their first letters."""
    words = {role.value[0]: role for role in Role} | {"s": Role.STANDBY, "x": Role.STOPPED}
    states = {state.value[0]: state for state in Outputs}
    roles = {f"KF{number}": words[letter] for number, letter in enumerate(roles, 1)}
    snapshot = SimpleNamespace(
        time_ms=time_ms, roles=roles, alarms=alarms, panels=dict(panels), writes_fight=frozenset(fight),
        leaders=tuple(unit for unit, role in roles.items() if role is Role.ACTIVE),
        outputs={f"KF{number}0": states[letter] for number, letter in enumerate(outputs, 1)})
    state = SimpleNamespace(works=dict(works), failures_per_h={name: per_year / 8760 for name, _ in works})
    return SimpleNamespace(snapshot=snapshot, state=state, record=record, event_cost=cost,
                           happenings=[SimpleNamespace(name=name) for name in happened],
                           plant=SimpleNamespace(currency="EUR"))


def out(time_ms, new, who="KF10"):
    return Entry(time_ms, who, "outputs", "", new, "")


LOST = [out(7, "held"), out(40, "fail state"), out(12_347, "written")]


@pytest.mark.parametrize(("before", "after", "new", "said"), [
    (view(), view(), [], []),
    (view(), view(fight=("KF20", "KF10")), [], ["two writers fight over KF10 and KF20"]),
    (view(), view(outputs="hf"), [], ["outputs of KF10 held", "outputs of KF20 in fail state"]),
    (view(outputs="hf"), view(outputs="hf"), [], ["outputs of KF10 still held", "outputs of KF20 still in fail state"]),
    (view(outputs="ff"), view(), [], ["outputs of KF10 and KF20 written again"]),
    # the longest gap of all racks: in ms below 10 s, and then in s; held, or let go in between
    (view(), view(), [out(5, "held"), out(9, "held", "KF20"), out(30, "written"), out(50, "written", "KF20")],
     ["outputs held 41 ms"]),
    (view(), view(), [out(1, "held"), out(10_000, "written")], ["outputs held 9999 ms"]),
    (view(), view(), [out(1, "held"), out(10_001, "written")], ["outputs held 10.0 s"]),
    (view(), view(), LOST, ["outputs let go, not written for 12.3 s"]),
    # of one rack the longest too; what comes back without having gone, and what is no output, is none
    (view(), view(), [out(1, "held"), out(4, "written"), out(10, "held"), out(12, "written")], ["outputs held 3 ms"]),
    (view(), view(), [out(4, "written"), Entry(1, "KF10", "writer", "", "held", "")], []),
])
def test_what_became_of_outputs(before, after, new, said):
    assert _outputs(new, before, after) == said


@pytest.mark.parametrize(("before", "after", "new", "said"), [
    (view("as"), view("aa"), [], "KF1 and KF2 lead at the same time"),
    (view("as"), view("os"), [], "nobody leads"),
    (view("as"), view("oa"), [], "KF2 took over"),
    (view("oo"), view("oa"), [], "KF2 leads"),
    (view("as"), view("as"), [], "KF1 still leads"),
    (view("as"), view("ax"), [], "KF1 still leads and KF2 is stopped"),
    (view("as"), view("al"), [Entry(1, "KF2", "role", "off", "active", "")], "KF1 still leads and KF2 is loading"),
    (view("as"), view("as"), [Entry(1, "KF1", "role", "off", "active", "")], "KF1 leads again"),
])
def test_who_leads_after_an_act(before, after, new, said):
    assert _leading(new, before, after) == said


FAULT = Entry(1, "KF1: frozen", "fault", "off", "on", "")


@pytest.mark.parametrize(("was", "now", "new", "said"), [
    ((), (), [], []), ((), (), [FAULT], ["no alarm tells of it"]),
    ((), (), [Entry(1, "x", "fault", "on", "off", ""), Entry(1, "KF1", "writer", "", "on", "")], []),
    (("a",), ("a", "b", "c"), [FAULT], ["alarm: b and 1 more"]),
    (("a", "b"), ("b",), [FAULT], ["alarm gone: a"]), (("a",), ("b",), [FAULT], ["alarm: b"]),
])
def test_alarms_that_came_or_went(was, now, new, said):
    assert _alarms(new, view(alarms=was), view(alarms=now)) == said


def test_panels_that_changed():
    before = view(panels=(("PH1", "sees"), ("PH2", "blind"), ("PH3", "sees")))
    after = view(panels=(("PH1", "dark"), ("PH2", "sees"), ("PH3", "sees")))
    assert _panels(before, after) == ["PH1 is dark", "PH2 sees the plant again"]


NONE, GONE = (("run", True),), (("run", False),)


@pytest.mark.parametrize(("was", "before", "here", "after", "said"), [
    (1.0, NONE, 1.004, NONE, "outages a year as before"),  # less than one in two hundred
    (1.0, NONE, 0.996, NONE, "outages a year as before"), (0.0, NONE, 0.0, NONE, "outages a year as before"),
    (1.0, NONE, 1.006, NONE, "from here 1.01 outages a year instead of 1"),
    (0.4641, NONE, 0.7712, NONE, "from here 0.77 outages a year instead of 0.46"),
    (0.46, NONE, 0.4641, NONE, "from here 0.464 outages a year instead of 0.46"),
    (1.0051, NONE, 1.0149, NONE, "from here 1.015 outages a year instead of 1.005"),
    (1.001, NONE, 1.0049, NONE, "outages a year as before"),
    (99.51, NONE, 100.49, NONE, "from here 100 outages a year instead of 99.5"),
    (1.0, NONE, 2.0, GONE, "run: lost"), (1.0, GONE, 2.0, GONE, ""),
    (1.0, GONE, 2.34567, NONE, "from here 2.3 outages a year"), (1.0, NONE, 1.0, (), ""),
])
def test_the_rate_from_here_beside_the_one_before(was, before, here, after, said):
    assert _rate(view(works=before, per_year=was), view(works=after, per_year=here)) == said


TOOK = [Entry(1_200, "KF2", "role", "standby", "active", ""), Entry(1_229, "KF2", "role", "standby", "active", "")]


@pytest.mark.parametrize(("before", "after", "said"), [
    # when the last one took over, from the act on; and what is new of happenings and costs
    (view(time_ms=1_000, record=LOST[:1], happened=("bump",), cost=900.0),
     view("oa", record=[*LOST[:1], *TOOK], happened=("bump", "low trip", "low trip"), cost=11_900.0),
     "0.229 s: KF2 took over, low trip and EUR 11\u202f000 lost; outages a year as before."),
    (view(), view(record=LOST), "KF1 still leads, outputs let go, not written for 12.3 s; outages a year as before."),
    (view(), view(record=[*TOOK], roles="aa"), "KF1 and KF2 lead at the same time, nothing lost; outages a year as before."),
    (view(), view(works=GONE), "KF1 still leads; run: lost."),
    (view(works=()), view(works=()), "KF1 still leads, nothing lost."),
    # alarms are told where nothing else is said but what stood before
    (view(outputs="fw"), view(outputs="fw", alarms=("a",)),
     "KF1 still leads, outputs of KF10 still in fail state, alarm: a; outages a year as before."),
    (view(panels=(("PH1", "sees"),)), view(panels=(("PH1", "blind"),), alarms=("a",)),
     "KF1 still leads, PH1 is blind, nothing lost; outages a year as before."),
    (view(), view(alarms=("a",), happened=("bump",)), "KF1 still leads, bump; outages a year as before."),
    (view("ax"), view("ax", record=[Entry(1, "pair", "role change", "asked", "refused", "Rule 3: KF2 is stopped.")]),
     "Refused, as KF2 is stopped: KF1 still leads, nothing lost; outages a year as before."),
])
def test_an_act_in_one_sentence(before, after, said):
    assert act_said(before, after) == said


def test_a_row_in_words():
    for row, words in (
            (("fault", "off", "on"), "fault on: A, B, C, D and 1 more"), (("alarm", "", "x"), "alarm: x"),
            (("alarm", "x", ""), "alarm gone: x"), (("writer", "", "KF1"), "A, B, C, D and 1 more writer: none to KF1"),
            (("writer", "KF1", ""), "A, B, C, D and 1 more writer: KF1 to none")):
        assert RecordRow(5, tuple("ABCDE"), *row, "").text == words


@pytest.mark.parametrize(("record", "times"), [
    # the last act and the latest after it; without an act, or with it among them, the latest alone
    ([5, *range(10, 17)], [5, 14, 15, 16]), ([*range(10, 17)], [13, 14, 15, 16]),
    ([10, 11, 5, 12, 13], [11, 5, 12, 13]), ([5, 6, 5, 12, 13, 14, 15], [5, 13, 14, 15]), ([5], [5]),
    ([5, *range(10, 90)], [5, 87, 88, 89]),
    ([10], [10]), ([10, 11, 12], [10, 11, 12]), ([], []),
])
def test_the_latest_rows_and_the_act_before_them(record, times):
    entries = [Entry(time_ms, "KF1", "fault" if time_ms == 5 else "role", "", f"{place}", "")
               for place, time_ms in enumerate(record)]
    assert [row.time_ms for row in latest_rows(entries)] == times
