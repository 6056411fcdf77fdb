"""Three stations on a ring, each asked for by itself: sets of one and two against a model by hand.

The model walks the ring both ways, and lets the controller lead that comes to more stations; of two
alike the first one leads on. It knows nothing of labkit.
"""

import itertools

import pytest

from labkit.rig.state_line import lost_functions
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from lessons.papers.basis import Basis
from lessons.papers.steps import steps_of
from tests.test_plant_keys import part, plant_of

STATIONS = (3, 4, 5)
RING = [*(f"KS{n}" for n in range(1, 6)), *(f"WR{n}" for n in range(1, 6)), "WC1", "WC2", "KF1", "KF2"]


@pytest.fixture(scope="module")
def plant():
    """KS1 and KS2 stand with the controllers; WRn lies between KSn and the next switch."""
    return plant_of(
        *(part(f"KF{n}", "controller") for n in (1, 2)),
        part("WF9", "cable", joins=["KF1", "KF2"]),
        *(part(f"WC{n}", "cable", joins=[f"KF{n}", f"KS{n}"]) for n in (1, 2)),
        *(part(f"KS{n}", "switch") for n in range(1, 6)),
        *(part(f"WR{n}", "cable", joins=[f"KS{n}", f"KS{n % 5 + 1}"]) for n in range(1, 6)),
        *(part(f"KF{n}0", "rack", joins=[f"KS{n}"]) for n in STATIONS),
        pair={"units": ["KF1", "KF2"], "sync": ["WF9"]},
        function=[{"name": f"station {n}", "reached": [f"KF{n}0"]} for n in STATIONS])


def stations_of(unit, broken):
    """Return the stations that a controller comes to, one way round the ring or the other."""
    found = set()
    for step in (1, -1):
        at = unit
        while f"KS{at}" not in broken and at not in found:
            found |= {at} & {*STATIONS}
            fibre = at if step == 1 else (at - 2) % 5 + 1
            if f"WR{fibre}" in broken:
                break
            at = (at - 1 + step) % 5 + 1
            if at == unit:
                break
    return found if broken.isdisjoint({f"KF{unit}", f"WC{unit}"}) else set()


def lost_by_hand(broken):
    """Return what is lost by who leads: the first, or of two alike that may either one."""
    ways = [stations_of(1, broken), stations_of(2, broken)]
    most = [way for way in ways if len(way) == max(map(len, ways))]
    return [{f"station {n}" for n in STATIONS if n not in way} for way in most]


def test_sets_of_one_and_two_are_lost_by_hand_in_the_rig_and_in_the_structure(plant):
    first = {next(iter(fault.breaks)): name for name, fault in reversed(faults_of(plant).items())
             if len(fault.breaks) == 1}
    parted = 0
    for broken in [*itertools.combinations(RING, 1), *itertools.combinations(RING, 2)]:
        pair = Switchover(plant)
        pair.run_for(3_000)
        for name in broken:
            pair.switch_on(first[name])
        pair.run_for(5_000)
        lost = lost_by_hand({*broken})
        assert {*lost_functions(plant, pair, frozenset(broken))} == lost[0], broken
        # the structure does not know who leads
        assert {name for name, works in plant.state(broken).works.items() if not works} == \
            set().union(*lost), broken
        parted += lost[0] != lost[-1]
    assert parted == 1  # KS4 and WR1 leave one station to each


def test_a_step_proves_what_would_leave_a_station_to_the_standby(plant):
    """KF2 leads, WR1 pulled: with WR3 or WR4 broken unseen, one station at least is lost."""
    steps = {(step.action, step.effect.leader): step.precondition
             for step in steps_of(Basis(plant, date="2031-05-06"))
             if step.effect is not None and step.action.startswith("Pull the plug of WR1")}
    (said,) = {each.partition("Proved good directly before: ")[2] for each in steps.values()}
    assert said == "WR3 and WR4."
