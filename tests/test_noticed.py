"""Whether a failure is noticed, by what and by whom: from what the file states and the rig shows."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig import noticed
from labkit.rig.noticed import FOLK, Notice, notice_of, notice_of_all, share_noticed

PLANT = load_plant()


def effect(alarms=(), lamps=(), happenings=(), noticed=None, sees=True):
    """Return a run that raised these alarms and changed the lamps of these units."""
    return SimpleNamespace(
        alarms=alarms, lamps=[SimpleNamespace(unit=unit) for unit in lamps],
        lamps_after=[SimpleNamespace(name="DATA")], happenings=[SimpleNamespace(name=name) for name in happenings],
        after=SimpleNamespace(alarms=alarms, panel_sees=sees),
        noticed=bool(alarms or lamps) if noticed is None else noticed)


SHOWN, HIDDEN = effect(lamps=("X",)), effect()
LAMPS = ("lamps of X", "whoever passes X")
FILE = "the file: {} % of the failures of X are noticed"


def of(stated, note="", modes=(), pair=None, how="dead", breaks=("X",), share=1.0, run=SHOWN):
    part = SimpleNamespace(noticed=stated, noticed_note=note)
    plant = SimpleNamespace(parts={"X": part}, pair=pair, modes_of=lambda unit: [
        SimpleNamespace(how=how, noticed=each) for how, each in modes])
    fault = SimpleNamespace(unit="X", breaks=breaks, kind=SimpleNamespace(share=share), how=how)
    return notice_of(plant, fault, run)


@pytest.mark.parametrize(("stated", "rig", "run", "notice"), [
    # below what the rig shows: of each kind that it shows that much less
    (0.3, 0.6, SHOWN, Notice(0.5, *LAMPS, FILE.format(30))),
    (0.3, 0.6, HIDDEN, Notice(0.0, "", "", FILE.format(30))),
    (0.0, 0.0, SHOWN, Notice(0.0, *LAMPS, FILE.format(0))),
    # as much: what is shown is noticed; above: of what is hidden the rest, (0.8 - 0.6) / 0.4
    (0.6, 0.6, SHOWN, Notice(1.0, *LAMPS)),
    (0.8, 0.6, SHOWN, Notice(1.0, *LAMPS)),
    (0.8, 0.6, HIDDEN, Notice(0.5, "nothing that the rig shows", FOLK, FILE.format(80))),
])
def test_the_kinds_together_give_what_the_file_states(monkeypatch, stated, rig, run, notice):
    monkeypatch.setattr(noticed, "share_noticed", lambda plant, unit: rig)
    found = of(stated, run=run)
    assert vars(found) == pytest.approx(vars(notice))
    told = of(stated, "they smell it", run=run)
    assert told.stated == (notice.stated and f"{notice.stated} (they smell it)")
    assert told.by == ("they smell it" if notice.who == FOLK else notice.by)


@pytest.mark.parametrize(("how", "run", "notice"), [
    ("dead", SHOWN, Notice(0.4, *LAMPS, "the file: 40 % of these are noticed")),
    ("dead", HIDDEN, Notice(0.4, "", FOLK, "the file: 40 % of these are noticed")),
    ("worn", SHOWN, Notice(1.0, *LAMPS)),
    ("worn", HIDDEN, Notice(1.0, "", FOLK, "the file: 100 % of these are noticed"))])
def test_ways_of_failing_have_their_own_share_or_are_all_noticed(how, run, notice):
    assert of(0.6, modes=[("dead", 0.4), ("worn", None)], how=how, run=run) == notice


@pytest.mark.parametrize("more", [
    {"stated": None}, {"breaks": ()}, {"share": None}, {"pair": SimpleNamespace(units=("X", "Y"))}])
def test_where_the_file_says_nothing_of_it_the_run_alone_speaks(more):
    assert of(**{"stated": 0.3} | more) == Notice(1.0, *LAMPS)
    assert of(**{"stated": 0.3, "run": HIDDEN} | more) == Notice(0.0, "", "")


@pytest.mark.parametrize(("run", "by", "who"), [
    (effect(alarms=("a", "b"), lamps=("X", "Y", "X")), "alarm: a; lamps of X and Y", "whoever reads the alarms"),
    # an alarm that has no panel to be read at, and lamps that are too many to name
    (effect(alarms=("a",), lamps=("X",), sees=False), "alarm: a; lamps of X", "whoever passes X"),
    (effect(lamps="VWXYZ"), "lamps of V, W, X and 2 more", "whoever passes V, W, X and 2 more"),
    (effect(noticed=True), "lamps, for a short time; see the record", "whoever reads the record"),
    (effect(happenings=("valve shut", "bump", "overflow")), "the process: overflow", "whoever is at the process")])
def test_a_run_is_noticed_by_alarms_lamps_or_the_process(run, by, who):
    assert notice_of_all(run) == Notice(1.0, by, who)


def test_what_is_no_unit_of_the_pair_or_no_part_at_all():
    assert of(0.6, pair=SimpleNamespace(units=("Y", "Z")), modes=[("dead", 0.4)]).share == 0.4
    fault = SimpleNamespace(unit="duct", breaks=("X",), kind=SimpleNamespace(share=1.0), how="cut")
    plant = SimpleNamespace(parts={"X": SimpleNamespace(noticed=0.3)}, pair=None)
    assert notice_of(plant, fault, HIDDEN) == Notice(0.0, "", "")


def test_what_the_rig_shows_is_weighed_by_how_often_it_comes():
    """BL1 is dead or stuck, each half: only dead shows. KF10B is seen by the unit that writes by it."""
    assert share_noticed(PLANT, "BL1") == pytest.approx(0.5, rel=1e-12)
    often = {**PLANT.how_often, "sensor": PLANT.how_often["sensor"] | {"dead": 0.9, "stuck": 0.1}}
    assert share_noticed(replace(PLANT, how_often=often), "BL1") == pytest.approx(0.9, rel=1e-12)
    # dead and silent is one in ten of its failures, and hidden where KF1 leads: half the time
    assert share_noticed(PLANT, "KF10B") == pytest.approx(1 - 0.1 / 2, rel=1e-12)
    flood = replace(PLANT, shared_events={"flood": SimpleNamespace(
        name="flood", what="a cellar: of the hall", place="", breaks=frozenset({"KF10"}), mtbf_h=None)})
    assert share_noticed(flood, "flood") == 1.0
    # of what breaks a standby only a frozen program is hidden: 0.05 of 0.3 + 0.5 + 0.05
    assert share_noticed(PLANT, "KF2") == pytest.approx(1 - 0.05 / 0.85, rel=1e-12)
    assert share_noticed(load_plant("mirelow"), "KF1") == 1.0
    with pytest.raises(ValueError, match="unit must be a part or an event of the plant, got 'XY9'"):
        share_noticed(PLANT, "XY9")


def test_plants_are_wired_alike_whatever_their_numbers():
    wired = noticed._Wired(PLANT)
    parts = {**PLANT.parts, "BL1": replace(PLANT.parts["BL1"], mtbf_h=1.0)}
    assert wired == noticed._Wired(replace(PLANT, parts=parts)) != PLANT
    times = {**PLANT.how_often, "sensor": PLANT.how_often["sensor"] | {"restored_h": {"dead": 3.0}}}
    assert hash(wired) == hash(noticed._Wired(replace(PLANT, how_often=times)))
    alarm = {**PLANT.parts, "BL1": replace(PLANT.parts["BL1"], alarm="level lost")}
    assert wired != noticed._Wired(replace(PLANT, parts=alarm))
    assert wired != noticed._Wired(replace(PLANT, pair=None))
