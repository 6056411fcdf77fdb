"""A plant of 42 parts against a model of it written apart: sums, failure modes, test steps.

The model here knows the station by heart and nothing of labkit: a structure function in plain
words, which faults nobody sees from the drawing, and every set of one or two failures with its sum
by hand. Sets of three are left out: they bring less than one part in a thousand.
"""

import itertools
import math
from pathlib import Path

import pytest

from labkit.plant.causes import modes_of
from labkit.plant.file_check import check_file
from labkit.plant.plant import load_plant
from lessons.papers.basis import Basis
from lessons.papers.failure_modes import failure_modes
from lessons.papers.steps import finders, steps_of
from tests.test_paper_sums import rows_add_up

FILE = Path(__file__).parent / "plant_files" / "heat_station.toml"
YEAR_H = 8760.0
BETA, COVERAGE, DIAGNOSED, PAIR_TEST_H, RESTART_H = 0.05, 0.97, 0.9, 4380.0, 0.5

# Designation: MTBF, MTTR, share of failures that nobody notices, hours between tests of these.
# From the drawing: of two feeds either carries on alone, and so does either half of a ring; half of
# a sensor's failures is a reading that stands still. The other shares are those of the file.
PARTS = {
    "GB1": (80_000, 8, 1, 4380), "TB1": (250_000, 3, 1, 8760), "TB2": (250_000, 3, 1, 8760),
    "RD1": (400_000, 3, 1, 8760), "RD2": (400_000, 3, 1, 8760),
    "KF1": (60_000, 4, 0.05, PAIR_TEST_H), "KF2": (60_000, 4, 0.05, PAIR_TEST_H),
    "WC1": (400_000, 6, 0, 4380), "WC2": (400_000, 6, 0, 4380),
    **{f"KS{n}": (200_000, 4, 0, 4380) for n in (1, 2, 3, 4)},
    **{f"WR{n}": (400_000, 10, 1, 4380) for n in (1, 2, 3, 4)},
    "KF10A": (220_000, 3, 0, 4380), "KF20A": (220_000, 3, 0, 4380),
    "KF10": (110_000, 3, 0, 4380), "KF20": (110_000, 3, 0, 4380),
    **{f"BP{n}": (150_000, 3, 0.5, 4380) for n in (1, 2, 3)},
    "BT1": (150_000, 3, 0, 4380), "BT2": (150_000, 3, 0, 4380),
    "GP1": (25_000, 12, 0, 4380), "GP2": (25_000, 12, 0, 4380), "GP3": (25_000, 12, 0.4, 2190),
    "QN1": (100_000, 6, 0, 4380), "QN2": (100_000, 6, 0, 4380), "BL9": (200_000, 2, 1, 8760),
    "CS1": (50_000, 8, 0, 4380), "CS2": (50_000, 8, 0, 4380),
    "PH1": (45_000, 8, 0, 4380), "PH2": (45_000, 8, 0, 4380),
}
NOT_TAKEN_OVER = "KF1+KF2 not taken over"
TWINS = {"RD1+RD2": ("RD1", "RD2"), "BP1+BP2+BP3": ("BP1", "BP2", "BP3"), "KF1+KF2": ("KF1", "KF2")}


def fed(broken):
    return not broken & {"GB1", "TB1", "RD1"} or not broken & {"TB2", "RD2"}


def reach(unit, racks, broken):
    """Say whether a controller is whole and comes through the ring to all of these racks."""
    if unit in broken or not fed(broken) or f"WC{unit[-1]}" in broken:
        return False
    start = int(unit[-1])
    for rack, goal in ((10, 3), (20, 4)):
        if rack not in racks:
            continue
        if broken & {f"KF{rack}", f"KF{rack}A"}:
            return False
        # Clockwise from switch to switch, and the other way round.
        round_ = [(start + k - 1) % 4 + 1 for k in range(4)]
        one = round_[:round_.index(goal) + 1]
        other = [start, *reversed(round_[round_.index(goal):])]
        if not any(not broken & {*(f"KS{n}" for n in way), *fibres(way)} for way in (one, other)):
            return False
    return True


def fibres(way):
    """Return the fibres between switches: n lies between n and the next."""
    return {f"WR{one}" if one % 4 + 1 == two else f"WR{two}" for one, two in itertools.pairwise(way)}


def led(racks, broken):
    return any(reach(unit, racks, broken) for unit in ("KF1", "KF2"))


FUNCTIONS = {
    "heat moved": lambda b: led((10, 20), b) and len(b & {"BP1", "BP2", "BP3"}) < 2
    and len(b & {"BT1", "BT2"}) < 2 and len(b & {"GP1", "GP2", "GP3"}) < 2
    and len(b & {"QN1", "QN2"}) < 2,
    "seen": lambda b: len(b & {"CS1", "CS2"}) < 2 and len(b & {"PH1", "PH2"}) < 2,
    "water stopped": lambda b: "BL9" not in b or led((10,), b),
}


def items():
    """Return every single failure: what it breaks, rate, hours down, share hidden, test interval."""
    found = {}
    for name, (mtbf_h, mttr_h, hidden, test_h) in PARTS.items():
        own = 1 - BETA if any(name in parts for parts in TWINS.values()) else 1
        found[name] = ({name}, own / mtbf_h, mttr_h, hidden, test_h)
    for name, parts in TWINS.items():
        mtbf_h, mttr_h, hidden, test_h = PARTS[parts[0]]
        # What a pair has in common is noticed: the plant stands still.
        found[name] = ({*parts}, BETA / mtbf_h, mttr_h, 0 if name == "KF1+KF2" else hidden, test_h)
    # The active unit fails, the other is good and does not take over: started by hand.
    found[NOT_TAKEN_OVER] = ({"KF1", "KF2"}, (1 - BETA) * (1 - COVERAGE) / 60_000, RESTART_H, 0, 1)
    return found


def by_hand(function, hiding=True):
    """Return down time in min and outages a year, and the sets of one and two that stop it."""
    works, single = FUNCTIONS[function], items()
    down = often = 0.0
    sets = []
    for size in (1, 2, 3):
        for names in itertools.combinations(single, size):
            members = [single[name] for name in names]
            if works(set().union(*(each[0] for each in members))) or not all(
                    works(set().union(*(each[0] for each in fewer))) for fewer in
                    itertools.combinations(members, size - 1)):
                continue
            sets.append(names)
            rate = sum(last[1] * math.prod(
                absent(each, last[1] if hiding else None) for each in members if each is not last)
                for last in members)
            down += rate / sum(1 / each[2] for each in members)
            often += rate
    return down * YEAR_H * 60, often * YEAR_H, [each for each in sets if len(each) < 3]


def absent(item, ends_per_h):
    """Return for which share of time a failure is there; hidden it waits for test or outage."""
    _, rate, mttr_h, hidden, test_h = item
    wait_h = 0.0 if ends_per_h is None else hidden / (2 / test_h + ends_per_h)
    return rate * (mttr_h + wait_h) / (1 + rate * (mttr_h + wait_h))


@pytest.fixture(scope="module")
def plant():
    return load_plant(FILE)


@pytest.fixture(scope="module")
def basis(plant):
    return Basis(plant, date="2031-05-06")


def test_the_file_is_read_without_an_error(plant):
    assert len(plant.parts) == 42 and len(PARTS) == 42 - 2 - 4
    doubts = check_file(FILE)
    assert [(each.key, each.severity) for each in doubts[:1]] == [("part GB1", "warning")]
    # And it has twins among its sensors only, and needs panels without their ways: doubts that stay.
    assert sorted(each.found for each in doubts[1:]) == [
        "needs without KS3, WH1", "needs without KS4, WH2", *(f"none for {names}" for names in (
            "BT1, BT2", "CS1, CS2", "GP1, GP2, GP3", "PH1, PH2", "QN1, QN2"))]


def test_what_nobody_notices_is_what_the_drawing_says(plant):
    for name, (_, _, hidden, test_h) in PARTS.items():
        if name not in plant.pair.units:
            assert plant.share_noticed(name) == pytest.approx(1 - hidden, abs=1e-12), name
            assert plant.parts[name].test_interval_h == test_h or not hidden
    # One of two sync cables is missed by nobody either; no sum asks for them.
    assert plant.share_noticed("WF8") == 0.0


@pytest.mark.parametrize("function", FUNCTIONS)
def test_sums_and_sets_are_those_by_hand(plant, function):
    minutes, outages, sets = by_hand(function)
    block = plant.block(function)
    # A set is there for the product of its shares of time, which are 0.03 at most; what is left
    # out is of the second order in them.
    assert block.unavailability * 525_600 == pytest.approx(minutes, rel=0.003)
    assert block.failures_per_h * YEAR_H == pytest.approx(outages, rel=0.003)
    assert plant.state().failures_per_h.get(function, block.failures_per_h) == pytest.approx(
        block.failures_per_h, rel=1e-12)
    found = {frozenset((*mode.failures, *filter(None, [mode.unit_out])))
             for mode in modes_of(plant, function) if mode.size <= 2 and not mode.pair_state}
    wanted = {frozenset(f"{name} common cause" if "+" in name else name for name in each)
              for each in sets if not {"KF1+KF2", NOT_TAKEN_OVER} & {*each}
              and {*each} != {"KF1", "KF2"}}
    assert found == wanted


def test_hidden_faults_bring_what_they_bring_by_hand(plant):
    with_hidden, without = (by_hand("heat moved", hiding)[0] for hiding in (True, False))
    block = plant.block("heat moved")
    plain = plant.plain_block_of(plant.condition("heat moved"))
    # A standby that sleeps is in both; to first order, and where two sets meet: 5 %.
    added = (block.unavailability - plain.unavailability) * 525_600
    assert with_hidden - without > 5
    assert added == pytest.approx(with_hidden - without, rel=0.05)


def test_every_row_has_the_rate_and_the_notice_by_hand(basis):
    """Over all rows of a part the rates are its failures; those marked hidden have their share."""
    table = next(each for each in failure_modes(basis).tables if each.main)
    counted = dict.fromkeys(PARTS, 0.0)
    hidden = dict.fromkeys(PARTS, 0.0)
    for fault in basis.faults.values():
        if fault.unit in PARTS and fault.kind.share is not None and fault.breaks:
            rate = rates_by_hand(basis, fault)
            counted[fault.unit] += rate
            for leader in basis.leaders:
                notice = basis.notice(fault.id, leader)
                hidden[fault.unit] += (1 - notice.share) * rate / len(basis.leaders)
    for name, (mtbf_h, _, share, _) in PARTS.items():
        if name not in basis.plant.pair.units:
            assert hidden[name] / counted[name] == pytest.approx(share, abs=1e-9), name
    rows_add_up(table.csv_rows, basis.plant)
    rows = [row for row in table.csv_rows if row["noticed"].startswith("not ")]
    told = " ".join(row["designation"] for row in rows)
    for name in ("TB1", "TB2", "RD1", "RD2", "GB1", "WR1", "WR4", "BP1", "GP3", "BL9", "WF8"):
        assert name in told, name
    for name in ("GP1", "BT1", "KS1", "KF10A", "QN1", "CS1", "PH1"):
        assert name not in told, name
    (pump,) = [row for row in table.csv_rows if row["designation"].startswith("GP3")
               and row["noticed"].startswith("not ")]
    # 0.4 x 8760 / 25 000 = 0.14 a year go unseen.
    assert float(pump["failures_per_year"]) == pytest.approx(0.14016) and "every 2\u00a0190 h" in pump["until"]


def rates_by_hand(basis, fault):
    """Return how often a kind of fault comes: its default share of the part's failures."""
    beside = [each for each in basis.faults.values() if each.unit == fault.unit
              and each.kind.share is not None]
    return fault.kind.share / sum(each.kind.share for each in beside) / PARTS[fault.unit][0]


def test_no_step_takes_a_feed_away_before_its_partner_is_measured(basis):
    """Feed 1 is GB1, TB1 and RD1, feed 2 TB2 and RD2; either one alone keeps the plant."""
    wanted = {"GB1": {"TB2", "RD2"}, "TB1": {"TB2", "RD2"}, "RD1": {"TB2", "RD2"},
              "TB2": {"GB1", "TB1", "RD1"}, "RD2": {"GB1", "TB1", "RD1"}}
    steps = {step.faults[0].partition(":")[0]: step for step in steps_of(basis)
             if step.effect is not None and len(step.faults) == 1
             and step.faults[0].partition(":")[0] in wanted}
    assert steps.keys() == wanted.keys()
    for name, partners in wanted.items():
        proved = steps[name].precondition.partition("Proved good directly before: ")[2].partition(".")[0]
        assert {*proved.replace(" and ", ", ").split(", ")} == partners, name
    found = finders(basis)
    assert all(found.values())
    check = min(number for number in found["TB2: off"])
    assert check < min(step.number for step in steps.values())
