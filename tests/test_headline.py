"""What is said of pair and plant in a state, worst first: held to what each state means."""

from dataclasses import replace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.headline import Line, worst
from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings
from tests.plants import SINGLE

ALL = "KF10, KF20 and KF30"


def lines_after(*faults, wait_s=30.0, **settings):
    rig = Rig(settings=PairSettings(**settings))
    for fault in faults:
        rig.switch_on(fault)
        rig.wait(wait_s)
    return dict(rig.view().lines)


@pytest.mark.parametrize("faults, first, said", [
    ((), "Roles", {"Roles": "KF1 leads; KF2 stands by, ready.", "Control now": "Works at every rack.",
                   "Panel": "Sees the plant."}),
    (("KF1: no power",), "Roles", {"Roles": "KF2 leads alone; KF1 is off.",
                                   "Control now": "Works at every rack."}),
    (("KF2: stopped",), "Roles", {"Roles": "KF1 leads alone; KF2 is stopped."}),
    (("KF1: no power", "KF2: stopped"), "Control now", {
        "Roles": "Nobody leads; KF2 is stopped; KF1 is off.",
        "Control now": f"Lost at {ALL}, outputs in fail state.",
        "Panel": "Sees the plant."}),
    (("KF1: no power", "WF3: cut"), "See and act", {
        "Panel": "Sees nothing and does nothing; control is not touched by that."}),
    (("KF1: no power", "KF2: no power"), "Control now", {
        "Panel": "Sees nothing and does nothing: no controller has supply."}),
    (("KF20: module fault",), "Control now", {
        "Control now": "Lost at KF20, outputs in fail state.",
        "Roles": "KF1 leads; KF2 stands by, ready."}),
    (("KF20: module fault", "WF3: cut"), "Control now", {"Panel": "Sees nothing and does nothing."}),
])
def test_roles_control_and_panel(faults, first, said):
    lines = lines_after(*faults)
    assert said.items() <= lines.items() and next(iter(lines)) == first
    assert ("Alarms" in lines) is bool(faults)


def test_what_lasts_for_moments_only():
    held = lines_after("KF1: no power", wait_s=0.1)
    assert held["Control now"] == f"Interrupted at {ALL}, outputs held."
    fight = lines_after("WF9: cut", ask_racks=False)
    assert fight["Roles"] == "KF1 and KF2 lead at the same time."
    assert fight["Control now"] == f"Two writers fight: {ALL} flap between two writers."
    one = lines_after("KF20: module fault", "KF30: module fault", "WF9: cut", ask_racks=False)
    assert one["Control now"] == "Two writers fight: KF10 flaps between two writers."


def test_roles_are_no_longer_normal_with_anything_broken_or_no_standby_ready():
    assert [*lines_after("WF3: cut")][:4] == ["See and act", "Panel", "Roles", "Alarms"]
    loading = lines_after("KF2: restarted", wait_s=1.0)
    assert [*loading][:2] == ["Roles", "Alarms"]
    assert loading["Roles"] == "KF1 leads alone; KF2 is loading."


def test_what_would_stop_a_function_next_is_told_in_groups():
    """Single parts, then what parts share; and what stops it only while the pair is asked for."""
    lines = lines_after()
    assert lines["See and act"].endswith(
        "as when healthy. Would stop it next: PH1, TF1, WF3, WF4; "
        "not in this rate: GB1, TB1, KF1+KF2 common cause.")
    assert "KF10, KF20, KF30, BL1, TB1; shared: KF1+KF2 common cause, " in lines["Control kept"]
    lost = lines_after("KF20: module fault")["Control kept"]
    assert lost.startswith("Lost: the plant cannot do it as it stands now. Healthy: ")


def test_one_controller_is_not_alone(tmp_path):
    """A plant that was built with one has lost nothing: all lines are as bad as each other."""
    file = tmp_path / "plant.toml"
    file.write_text(SINGLE, "utf-8")
    (roles, *_) = Rig(load_plant(file)).view().lines
    assert roles == ("Roles", "A1 leads.")


def test_the_worst_of_some_lines():
    lines = [Line("a", "", level) for level in ("normal", "lost", "abnormal")]
    assert [worst(lines), worst(lines[::2]), worst([])] == ["lost", "abnormal", "normal"]
    assert replace(lines[0], level="lost").rank == 2
