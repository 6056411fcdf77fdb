"""How often each fault comes, for how long, and from which source that is known: sums by hand."""

import math

import pytest

from labkit.rig.rates import NO_FAULT, rates_of, restored_h, source_of, weight_of
from labkit.switchover.fault_kinds import faults_of
from tests.test_plant_keys import part, plant_of

# every part fails each 1000 h and lasts 10 h
PLANT = plant_of(
    part("KF1", "controller"), part("BL1", "sensor"), part("BL2", "sensor", mtbf_h=500.0), part("PH1", "panel"),
    part("GP1", "pump"), part("WF1", "cable", joins=["KF1", "KF10"]), part("KF10", "rack"),
    part("WF2", "cable", joins=["KF1", "KF20"]), part("KF20", "rack"), part("TB1", "supply", source="found"),
    mode=[{"how": "worn", "share": 0.25, "parts": ["GP1"], "mttr_h": 22, "source": "practice"},
          {"how": "blocked", "share": 0.75, "parts": ["GP1"]}],
    how_often={"sensor": {"dead": 0.6, "stuck": 0.2, "restored_h": {"dead": 4.0}, "source": "found"},
               "controller": {"stopped": 3.0, "source": "found"}},
    shared_event=[{"name": "duct", "what": "a duct", "breaks": ["WF1", "WF2"]},
                  {"name": "roof", "what": "a roof", "breaks": ["BL1", "BL2"], "mtbf_h": 50_000, "mttr_h": 9,
                   "source": "found"}])
FAULTS = faults_of(PLANT)


@pytest.mark.parametrize(("fault", "weight", "per_h", "source"), [
    # 0.6 and 0.2 of the file are three and one in four of the failures of its part
    ("BL1: dead", 0.75, 0.75 / 1000, "invented, share found"),
    ("BL2: stuck", 0.25, 0.25 / 500, "invented, share found"),
    # the defaults of the table: a panel is dark in four of five failures
    ("PH1: dark", 0.8, 0.8 / 1000, "invented"),
    ("TB1: off", 0.7, 0.7 / 1000, "found, share invented"),
    # in its own words; the one failure that a rack has
    ("GP1: worn", 0.25, 0.25 / 1000, "invented, share practice"),
    ("GP1: blocked", 0.75, 0.75 / 1000, "invented"),
    ("KF10: module fault", 1.0, 1 / 1000, "invented"),
    # beside the failures of a part: so often a year, of the file or of the table
    ("KF1: stopped", 0.0, 3.0 / 8760, "found"),
    ("KF1: too hot", 0.0, 0.02 / 8760, "invented"),
    # an event: its own rate, or once in a hundred years
    ("roof: lost", 1.0, 1 / 50_000, "found"),
    ("duct: cut", 1.0, 1 / 876_000, "invented"),
])
def test_weight_rate_and_source_of_a_fault(fault, weight, per_h, source):
    found = FAULTS[fault]
    assert weight_of(PLANT, found) == pytest.approx(weight, rel=1e-12)
    assert rates_of(PLANT)[fault] == pytest.approx(per_h, rel=1e-12)
    assert source_of(PLANT, found) == source


def test_somebody_is_called_for_nothing_once_a_year():
    assert rates_of(PLANT)[NO_FAULT] == 1 / 8760 and {*rates_of(PLANT)} == {*FAULTS, NO_FAULT}


@pytest.mark.parametrize(("fault", "hours"), [
    ("BL1: dead", 4.0), ("BL1: stuck", 10.0), ("GP1: worn", 22.0), ("GP1: blocked", 10.0),
    ("PH1: dark", 10.0), ("KF10: module fault", 10.0), ("roof: lost", 9.0)])
def test_a_failure_lasts_its_own_time_or_that_of_its_part(fault, hours):
    assert restored_h(PLANT, FAULTS[fault]) == pytest.approx(hours, rel=1e-12)
    # the mean over all failures: 0.75 x 4 + 0.25 x 10 h, 0.25 x 22 + 0.75 x 10 h
    assert [PLANT.parts[name].mttr_h for name in ("BL1", "GP1", "PH1")] == [5.5, 13.0, 10.0]


def test_cuts_that_a_battery_carries_are_those_that_are_shorter():
    """Of memoryless cuts with a mean of 2 h those beyond 1 h last 3 h, the others the rest."""
    plant = plant_of(part("KF1", "controller", fed_by=["GB1"]), part("QA1", "mains", mttr_h=2.0),
                     part("GB1", "ups", fed_by=["QA1"], battery_h=1.0))
    known, beyond = faults_of(plant), math.exp(-1 / 2)
    assert restored_h(plant, known["QA1: cut longer than 1 h"]) == pytest.approx(3.0, rel=1e-12)
    assert restored_h(plant, known["QA1: cut up to 1 h"]) == pytest.approx(
        (2 - 3 * beyond) / (1 - beyond), rel=1e-12)
    assert weight_of(plant, known["QA1: cut longer than 1 h"]) == pytest.approx(beyond, rel=1e-12)
    open_ = plant_of(part("KF1", "controller", fed_by=["QA1"]), part("QA1", "mains", mttr_h=2.0))
    assert restored_h(open_, faults_of(open_)["QA1: cut"]) == 2.0
