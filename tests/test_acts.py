"""What an act did, in one sentence and in rows, held to records worked by hand."""

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.acts import act_said, latest_rows, rows_of
from labkit.rig.rig import Rig
from labkit.switchover.roles import Entry
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
