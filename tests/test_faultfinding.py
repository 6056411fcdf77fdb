"""Causes from signs, and what a meter reads: checked by other means."""

import dataclasses
import math
from pathlib import Path
from types import MappingProxyType, SimpleNamespace

import numpy as np
import pytest

from labkit.evidence.diagnosis import expected_information_bits
from labkit.plant.plant import load_plant
from labkit.rig import checks
from labkit.rig import finder as finder_module
from labkit.rig.bus import (
    bus_readings,
    idle_voltage_mv,
    length_in_words_m,
    line_resistance_ohm,
    line_states,
)
from labkit.rig.checks import MINUTES, MISREAD, _Words, catalogue
from labkit.rig.finder import FaultFinder
from labkit.rig.rates import NO_FAULT, rates_of
from labkit.rig.rig import Rig
from labkit.rig.tank import Happening
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.settings import PairSettings
from lessons.pictures.bus_picture import bus_picture
from tests.plants import DRILLS


@pytest.fixture(scope="module")
def finder():
    return FaultFinder(load_plant())


# ---------------------------------------------------------------- what a meter reads

# Common practice for two terminators of 120 ohm, 168 ohm/km loop resistance of 0.2 mm2 copper,
# bias on 5 V (EIA/TIA-485-A and handbooks, from memory): readings in ohm and mV.
RESISTANCES = [
    (0, 1, 1, 60), (0, 1, 0, 120), (0, 0, 1, 120), (0, 2, 1, 40),
    (900, 1, 1, 83), (900, 1, 0, 120), (900, 0, 1, 271),
]
IDLE_MV = [(390, 357), (560, 254), (680, 211), (720, 200), (1000, 146)]


@pytest.mark.parametrize(("length_m", "near", "far", "ohm"), RESISTANCES)
def test_resistance_of_a_line(length_m, near, far, ohm):
    assert round(line_resistance_ohm(length_m, near=near, far=far)) == ohm


@pytest.mark.parametrize(("bias_ohm", "millivolt"), IDLE_MV)
def test_idle_voltage(bias_ohm, millivolt):
    assert round(idle_voltage_mv(60.0, bias_ohm=bias_ohm)) == millivolt


# What is amiss: terminators near and far, the two halves of the copper, a short between the wires
# in the middle. The bias sits at the near end; a crossing of the wires changes no resistance.
NETWORKS = {
    "good": (1, 1, True, False), "near terminator missing": (0, 1, True, False),
    "far terminator missing": (1, 0, True, False), "line open": (1, 1, False, False),
    "third terminator near": (2, 1, True, False), "third terminator far": (1, 2, True, False),
    "short in the middle": (1, 1, True, True), "no bias": (1, 1, True, False),
    "A and B swapped": (1, 1, True, False), "second bias far": (1, 1, True, False),
}


def solved(length_m, near, far, whole, short, biased=()):
    """Solve the network by its node equations: ohm or mV at the near and at the far end.

    `biased` holds the nodes where 5 V stand behind 390 ohm; 390 ohm lead from the next to ground.
    """
    wire = length_m * 168.0 / 1000.0 / 4  # each wire of each half
    # nodes: plus and minus at the near end, in the middle, at the far end
    g = np.zeros((6, 6))
    ways = [(0, 1, near / 120.0), (4, 5, far / 120.0), (2, 3, 1e9 if short else 1e-12),
            (0, 2, 1 / wire), (1, 3, 1 / wire),
            (2, 4, 1 / wire if whole else 1e-12), (3, 5, 1 / wire if whole else 1e-12)]
    for one, two, conductance in ways:
        g[one, one] += conductance
        g[two, two] += conductance
        g[one, two] -= conductance
        g[two, one] -= conductance
    if biased:
        to_rails, driven = np.full(6, 1e-12), np.zeros(6)
        for plus in biased:
            to_rails[[plus, plus + 1]], driven[plus] = 1 / 390, 5 / 390
        nodes = np.linalg.solve(g + np.diag(to_rails), driven)
        return 1000 * (nodes[0] - nodes[1]), 1000 * (nodes[4] - nodes[5])
    found = []
    for plus, minus in ((0, 1), (4, 5)):
        current = np.zeros(6)
        current[[plus, minus]] = 1, -1
        nodes = np.linalg.solve(g + 1e-12 * np.eye(6), current)
        found.append(nodes[plus] - nodes[minus])
    return tuple(found)


@pytest.mark.parametrize("length_m", [120, 540, 870, 1000])
@pytest.mark.parametrize("state", NETWORKS)
def test_each_state_of_a_line_against_node_equations(state, length_m):
    read = line_states(length_m)[state]
    assert (read.near_ohm, read.far_ohm) == pytest.approx(
        solved(length_m, *NETWORKS[state]), rel=1e-5)
    near_mv, far_mv = solved(length_m, *NETWORKS[state], biased=(0, 4) if state == "second bias far" else (0,))
    if state == "no bias":
        near_mv = far_mv = 0.0
    if state == "A and B swapped":
        far_mv = -far_mv
    # a short of 1e-9 ohm and open wires of 1e12 ohm are no exact ones
    assert (read.near_mv, read.far_mv) == pytest.approx((near_mv, far_mv), rel=1e-5, abs=1e-3)


def test_readings_from_both_ends_by_hand():
    """870 m: 146.16 ohm of copper; near and far 120 ohm beside what lies behind the copper."""
    read = {state: (round(each.near_ohm), round(each.far_ohm))
            for state, each in line_states(870).items()}
    assert read["good"] == (83, 83)                            # 120 beside 266
    assert read["near terminator missing"] == (266, 120)       # 146 + 120
    assert read["far terminator missing"] == (120, 266)
    assert read["line open"] == (120, 120)
    assert read["third terminator near"] == (49, 76)           # 60 beside 266, 120 beside 206
    assert read["third terminator far"] == (76, 49)
    assert read["short in the middle"] == (45, 45)             # 120 beside 73
    good, swapped = line_states(870)["good"], line_states(870)["A and B swapped"]
    # 5 V x 82.7 / (82.7 + 780) = 479 mV, and 120 / 266 of it at the far end
    assert (round(good.near_mv), round(good.far_mv)) == (479, 216)
    assert (round(swapped.near_mv), round(swapped.far_mv)) == (479, -216)


def test_a_good_line_of_up_to_a_kilometre_is_above_its_threshold_and_no_heavy_load():
    """TIA/EIA-485-A, from memory: 200 mV at a receiver, a driver is tested with 54 ohm."""
    for length_m in range(0, 1001, 50):
        good = line_states(length_m)["good"]
        assert min(good.near_mv, good.far_mv) > 200  # the threshold of TIA/EIA-485-A, from memory
    assert 1 / (1 / line_resistance_ohm(0) + 1 / (2 * 390)) > 54


def test_an_open_line_is_not_seen_beyond():
    assert line_resistance_ohm(900, whole=False) == pytest.approx(120, rel=1e-12)
    assert line_resistance_ohm(900, near=0, whole=False) == math.inf
    assert idle_voltage_mv(math.inf) == 5000


def test_readings_tell_the_states_apart():
    for length_m in (120, 540, 870):
        readings = bus_readings(length_m)
        assert len(set(readings.values())) == len(readings) == 10


def test_lengths_are_read_from_words():
    assert length_in_words_m("panel bus, hall side, 870 m") == 870
    assert length_in_words_m("CC1 to CC2, 14 m") == 14
    assert length_in_words_m("roof 12 m, hall 7 m, pillar 3.5 m") == 3.5
    assert length_in_words_m("intake pump 1, 30 L/s") is None


# ---------------------------------------------------------------- causes


def test_what_a_line_has_where_nothing_else_is_said():
    # 120 ohm beside 120 ohm and 1 km of 168 ohm; 5 V over 780 ohm and 60 ohm
    assert line_resistance_ohm(0) == pytest.approx(60.0, rel=1e-12)
    assert line_resistance_ohm(1000) == pytest.approx(120 * 288 / 408, rel=1e-12)
    assert idle_voltage_mv(60.0) == pytest.approx(5000 * 60 / 840, rel=1e-12)


def test_shares_sum_to_one_and_follow_rates_before_anything_is_seen(finder):
    shares = finder.shares()
    assert sum(shares.values()) == pytest.approx(1, rel=1e-12)
    rates = rates_of(finder.plant)
    total = sum(rates.values())
    for cause, share in shares.items():
        assert share == pytest.approx(rates[cause] / total, rel=1e-9)


def test_shares_by_counting_cases(finder):
    """Draw causes by their rates, show their signs, misread some: count what was the cause."""
    rng = np.random.default_rng(7)
    signs = ("PH1 DATA", "TF1 SUPPLY NEAR")
    weights = np.array([run.weight for run in finder.runs])
    drawn = rng.choice(len(weights), size=400_000, p=weights / weights.sum())
    seen = np.ones(len(drawn), dtype=bool)
    for sign, wanted in zip(signs, ("yellow", "dark"), strict=True):
        values = finder.signs[sign]
        true = np.array([values.index(run.signs[sign]) for run in finder.runs])[drawn]
        wrong = rng.random(len(drawn)) < MISREAD
        other = (true + rng.integers(1, len(values), size=len(drawn))) % len(values)
        seen &= np.where(wrong, other, true) == values.index(wanted)
    causes = np.array([run.cause for run in finder.runs])[drawn[seen]]
    shares = finder.shares(dict(zip(signs, ("yellow", "dark"), strict=True)))
    for cause in ("TF1: no power", "WF3: cut", "PH1: dark"):
        error = math.sqrt(shares[cause] * (1 - shares[cause]) / len(causes))
        assert abs(np.mean(causes == cause) - shares[cause]) <= 4 * error + 1e-12


def test_a_dark_unit_may_be_a_stopped_one_of_which_a_lamp_was_misread():
    """A stopped unit has SUPPLY alone lit: one lamp misread, in 0.002, and it looks without power.

    It is stopped 0.2 times a year, and without power in 0.3 of 8760 / 60 000 failures a year, 0.0438:
    0.2 x 0.002 / (0.0438 x 0.998) = 0.00915, and 0.00915 / 1.00915 of both is 0.907 %.
    """
    finder = FaultFinder(load_plant("mirelow", "pair"))
    rig = Rig(finder.plant)
    rig.switch_on("KF2: no power")
    rig.wait(60)
    lamps = {sign: value for sign, value in finder.read(rig).items() if sign.startswith(("KF1 ", "KF2 "))}
    shares = finder.shares(lamps)
    assert shares["KF2: stopped"] == pytest.approx(0.00907, rel=1e-3)
    assert shares["KF2: no power"] + shares["KF2: stopped"] == pytest.approx(1, rel=1e-4)


@pytest.mark.parametrize("name", ["brackenquay", "elderhang", "mirelow"])
def test_full_signs_of_a_fault_find_it_or_its_like(name):
    plant = load_plant(name)
    finder = FaultFinder(plant)
    for run in finder.runs:
        shares = finder.shares(run.signs)
        alike = {other.cause for other in finder.runs if other.signs == run.signs}
        top = max(shares, key=shares.get)
        # What shows the same cannot be told apart by signs alone; the most frequent leads.
        assert top in alike
        assert shares[top] >= shares[run.cause] > 0


@pytest.mark.parametrize("fault", ["KF1: no power", "WF3: cut", "TB1: off", "QM1: shut locally",
                                   "KF2: program differs", "WF1+WF2: cut"])
def test_a_rig_is_read(fault, finder):
    rig = Rig(finder.plant, seed=5)
    rig.wait(1)
    rig.switch_on(fault)
    rig.wait(60)
    signs = finder.read(rig)
    assert len(signs) > 40
    alike = {run.cause for run in finder.runs
             if all(run.signs[sign] == value for sign, value in signs.items())}
    assert fault in alike
    assert finder.suspects(signs)[0].cause in alike


def test_two_faults_at_a_rig_are_read_too(finder):
    rig = Rig(finder.plant)
    rig.switch_on("KF2: no power")
    rig.switch_on("KF10A: dead")
    rig.wait(60)
    shares = finder.shares(finder.read(rig))
    assert sum(shares.values()) == pytest.approx(1, rel=1e-12)


def test_cables_come_first_by_their_rate_only():
    plant = load_plant()
    seen = {"KF10A LINK": "yellow", "PH1 KF2": "green"}

    def first(cable_mtbf_h):
        parts = {name: dataclasses.replace(part, mtbf_h=cable_mtbf_h) if name == "WF1.10" else part
                 for name, part in plant.parts.items()}
        changed = dataclasses.replace(plant, parts=MappingProxyType(parts))
        found = FaultFinder(changed).suspects(seen)
        return [each.cause for each in found if each.cause.startswith(("WF1.10", "KF10A"))][0]

    assert first(100_000) == "WF1.10: cut"
    assert first(1_000_000) == "KF10A: dead"


def test_no_fault_is_a_cause(finder):
    changed = finder.normal("KF2") | {"led before": "KF1"}
    suspects = finder.suspects(changed)
    assert suspects[0].cause == "test: role change"
    assert suspects[0].label.startswith("no fault: ")
    assert suspects[0].share > 0.9
    assert finder.suspects(finder.normal("KF1"))[0].cause == NO_FAULT


def test_the_next_check_is_the_one_of_most_bits_per_minute(finder):
    seen = {"PH1 DATA": "yellow"}
    ranked = finder.next_checks(seen)
    shares = finder.shares(seen)
    values = {check.name: expected_information_bits(shares, check) / check.minutes
              for check in finder.checks(seen)}
    assert ranked[0].name == max(values, key=values.get)
    assert "lamps of PH1" in values
    everything = {sign: value for sign, value in finder.normal().items()
                  if sign.startswith("PH1 ")}
    assert "lamps of PH1" not in {check.name for check in finder.checks(everything)}


def test_measurements_settle_the_bus(finder):
    blind = {"PH1 DATA": "yellow", "PH1 PLANT": "dark", "TF1 SUPPLY NEAR": "green",
             "KF1 ACTIVE": "green", "KF2 READY": "white"}
    before = finder.shares(blind)
    swapped = finder.shares(blind, {"idle voltage of WF4": "A and B swapped"})
    assert swapped["WF4: A and B swapped"] > 0.8 > before["WF4: A and B swapped"]
    extra = finder.shares(blind, {"resistance of WF3": "third terminator near"})
    assert extra["WF3: third terminator"] > 20 * before["WF3: third terminator"]
    # 870 m of 168 ohm/km beside the far terminator, in parallel to the near one.
    assert f"good: {1 / (1 / 120 + 1 / (120 + 0.870 * 168)):.0f} ohm from either end;" in finder.explain(
        "resistance of WF3")


def test_following_the_advice_finds_the_drills(finder):
    """Follow the next check again and again: the fault gets by far the largest share."""
    runs = {(run.cause, run.leader): run for run in finder.runs}
    steps = []
    for title in ("repeater without power", "interface dead and silent", "terminator missing",
                  "A and B swapped after a repair", "level sensor stuck", "sync cable cut",
                  "no fault: planned test", "lamp of the panel dead"):
        (fault,) = DRILLS[title]
        run = runs[fault, "KF1"]
        looks = {look.name: look for look in catalogue(finder.plant)}
        results = {}
        first = {sign: run.signs[sign] for sign in ("PH1 DATA", "PH1 PLANT")}
        for _ in range(12):
            value = finder.next_checks(first, results)[0]
            if value.information_bits < 1e-3 or finder.shares(first, results)[fault] > 0.9:
                break
            chances = looks[value.name].chances(run)
            results[value.name] = max(chances, key=chances.get)
        shares = finder.shares(first, results)
        if run.effect.noticed:
            assert max(shares, key=shares.get) == fault, (title, results)
        steps.append(len(results))
    assert max(steps) <= 10


@pytest.mark.parametrize(("call", "message"), [
    (lambda f: f.shares({"PH1 DAT": "yellow"}), "did you mean 'PH1 DATA'"),
    (lambda f: f.shares({"PH1 DATA": "blue"}), "must be one of .*yellow.*, got 'blue'"),
    (lambda f: f.shares({}, {"look": "x"}), "results must have names of checks, got 'look'"),
    (lambda f: f.shares({}, {"alarm list": "x"}), "results.'alarm list'. must be one of"),
    (lambda f: f.explain("look"), "check must be one of"),
    (lambda f: f.normal("KF3"), "leader must be one of KF1, KF2, got 'KF3'"),
    (lambda f: line_resistance_ohm(-1), "length_m must be >= 0 and finite, got -1"),
    (lambda f: line_resistance_ohm(1, near=-1), "near must be >= 0, got -1"),
    (lambda f: line_resistance_ohm(1, terminator_ohm=0), "terminator_ohm must be > 0"),
    (lambda f: idle_voltage_mv(-1), "line_ohm must be >= 0 and finite, got -1"),
    (lambda f: idle_voltage_mv(60, bias_ohm=0), "bias_ohm must be > 0 and finite, got 0"),
])
def test_refusals(call, message, finder):
    with pytest.raises(ValueError, match=message):
        call(finder)


def test_every_cause_has_a_rate():
    for name in ("brackenquay", "elderhang", "mirelow"):
        plant = load_plant(name)
        rates = rates_of(plant)
        assert set(rates) == {*faults_of(plant), NO_FAULT}
        assert all(rate > 0 for rate in rates.values())


def test_a_cable_of_a_shared_duct_is_open_at_its_plugs(finder):
    """What a check shows of a part holds as well for an event that breaks it with others."""
    before = finder.shares()["WF1+WF2: cut"]
    open_ = finder.shares({}, {"plugs of WF1.10": "loose or open"})["WF1+WF2: cut"]
    tight = finder.shares({}, {"plugs of WF1.10": "tight and through"})["WF1+WF2: cut"]
    assert tight < before < open_ and open_ / before > 30


def test_names_and_minutes_stand_once(finder, monkeypatch):
    looks = list(catalogue(finder.plant))
    assert len({look.name for look in looks}) == len(looks)
    monkeypatch.setattr(checks, "MINUTES", {**MINUTES, "walk": 9.0})
    longer = {look.name: look.minutes for look in catalogue(finder.plant)}
    assert {longer[look.name] - look.minutes for look in looks} == {0.0, 4.0}


@pytest.mark.parametrize("state", NETWORKS)
def test_the_bus_is_drawn_with_what_a_meter_reads(state):
    picture, read = bus_picture(state, 540), line_states(540)[state]
    for ohm, mv in ((read.near_ohm, read.near_mv), (read.far_ohm, read.far_mv)):
        assert f">{ohm:.0f} ohm, {mv:+.0f} mV<" in picture.svg
        assert f"{ohm:.0f} ohm, {mv:+.0f} mV" in picture.words
    near, far, whole, short = NETWORKS[state]
    # the terminators of both lines
    assert picture.svg.count(">120</text>") == near + far + 2
    crossed_out = (near == 0) + (far == 0) + 2 * (not whole) + 2 * (state == "no bias")
    assert picture.svg.count('class="cut"') == crossed_out + short + 2 * (state == "A and B swapped")
    assert 0 < len(picture.words.split()) <= 60


def test_a_state_that_is_none_is_refused():
    with pytest.raises(ValueError, match="state must be one of good, near terminator missing"):
        bus_picture("broken")


def test_a_name_in_braces_that_no_check_knows_is_an_error():
    words = _Words(load_plant(), "TF1")
    assert "{placed}".format_map(words) == "TF1 (pillar on the quay road)"
    with pytest.raises(KeyError, match="plaecd"):
        "{plaecd}".format_map(words)


def test_what_goes_unnoticed_in_part_is_a_run_of_its_own():
    """All runs together have the weight 1; of a fault noticed in part, one run leaves every sign."""
    file = Path(__file__).parent / "plant_files" / "reed_archive.toml"
    runs = FaultFinder(load_plant(file)).runs
    assert math.fsum(run.weight for run in runs) == pytest.approx(1, rel=1e-12)
    noticed = load_plant(file).parts["CS2"].noticed
    seen, unseen = (run for run in runs if run.cause == "CS2: dead")
    (well,) = (run for run in runs if run.cause == NO_FAULT)
    assert seen.weight / (seen.weight + unseen.weight) == pytest.approx(noticed, rel=1e-12)
    assert unseen.signs == well.signs != seen.signs


# ---------------------------------------------------------------- a finder of a few runs, by hand

DEAD, CUT = "PH1: dark", "WF9: cut"


def run(cause, weight, leader=None, **signs):
    return checks.Run(cause, None, leader, weight, {sign.replace("_", " "): value for sign, value in signs.items()},
                      None)


def finder_of(*runs, looks=()):
    found = FaultFinder(load_plant())
    found.__dict__ |= {"runs": runs, "_looks": {look.name: look for look in looks}}
    return found


THREE = (run(DEAD, 0.6, lamp="green", one="x"), run(CUT, 0.3, lamp="dark", one="x"),
         run(NO_FAULT, 0.1, lamp="red", one="x"))


def test_a_sign_is_misread_as_each_other_value_alike_and_one_with_one_value_tells_nothing():
    """Two in a thousand of three values: each of the others one in a thousand."""
    finder = finder_of(*THREE)
    weights = {DEAD: 0.6 * 0.001, CUT: 0.3 * 0.998, NO_FAULT: 0.1 * 0.001}
    assert finder.shares({"lamp": "dark", "one": "x"}) == pytest.approx(
        {cause: weight / sum(weights.values()) for cause, weight in weights.items()}, rel=1e-12)
    alarm = finder_of(*(dataclasses.replace(each, signs={"alarm: a": says}) for each, says in zip(
        THREE, ("stands", "no", "no"), strict=True)))
    # an alarm is read as another, or overlooked, one time in ten thousand
    weights = {DEAD: 0.6 * 0.9999, CUT: 0.3 * 1e-4, NO_FAULT: 0.1 * 1e-4}
    assert alarm.shares({"alarm: a": "stands"}) == pytest.approx(
        {cause: weight / sum(weights.values()) for cause, weight in weights.items()}, rel=1e-12)


def test_suspects_stand_by_share_then_by_name_and_the_least_share_is_let_in():
    finder = finder_of(*(dataclasses.replace(each, weight=weight) for each, weight in zip(
        THREE, (0.25, 0.25, 0.5), strict=True)))
    assert [each.cause for each in finder.suspects()] == [NO_FAULT, DEAD, CUT]
    assert [each.share for each in finder.suspects(least_share=0.25)] == [0.5, 0.25, 0.25]
    assert [each.cause for each in finder.suspects(least_share=0.26)] == [NO_FAULT]
    few = finder_of(*(dataclasses.replace(each, weight=weight) for each, weight in zip(
        THREE, (0.004, 0.9901, 0.0059), strict=True)))
    assert [each.cause for each in few.suspects()] == [CUT, NO_FAULT]  # from one in two hundred on
    none, dark = finder.suspects()[:2]
    assert (none.who, none.place, none.label) == ("operator", "", "no fault: the plant is as it should be")
    fault = faults_of(finder.plant)[DEAD]
    assert (dark.label, dark.place, dark.put_right, dark.who) == (
        fault.label, "quay office", fault.put_right, fault.kind.who)


def test_a_check_is_weighed_by_who_led_and_left_out_once_it_was_made_or_its_lamps_were_read():
    """With KF1 leading, in one of four, the check says yes of a cut, and else never."""
    runs = (run(CUT, 0.1, "KF1", XX1_A="on", XX1_B="off"), run(CUT, 0.3, "KF2", XX1_A="on", XX1_B="on"),
            run(DEAD, 0.6, "KF1", XX1_A="off", XX1_B="off"))
    yes = {("WF9: cut", "KF1"): 1.0, (DEAD, "KF1"): 0.5}

    def chances(each):
        chance = yes.get((each.cause, each.leader), 0.0)
        return {"yes": chance, "no": 1.0 - chance}

    look = checks.Look("look", 7.0, chances=chances)
    lamps = checks.Look("lamps", 2.0, chances=lambda each: {"lit": 1.0}, reads="XX1 ")
    finder = finder_of(*runs, looks=(look, lamps))
    found = {each.name: each for each in finder.checks()}
    assert (found["look"].minutes, found["look"].outcomes["yes"]) == (7.0, pytest.approx({CUT: 0.25, DEAD: 0.5}))
    assert found["look"].outcomes["no"] == pytest.approx({CUT: 0.75, DEAD: 0.5})
    assert [each.name for each in finder.checks(results={"look": "yes"})] == ["lamps"]
    # all lamps that a check reads, and not some of them
    assert [each.name for each in finder.checks({"XX1 A": "on"})] == ["look", "lamps"]
    assert [each.name for each in finder.checks({"XX1 A": "on", "XX1 B": "off"})] == ["look"]
    # what a result has ruled out says the first thing, whatever that is
    other = checks.Look("sure", 1.0, chances=lambda each: {"cut" if each.cause == CUT else "dead": 1.0})
    (left, _) = finder_of(*runs, looks=(look, other, lamps)).checks(results={"sure": "dead"})
    assert left.outcomes["yes"] == pytest.approx({CUT: 1.0, DEAD: 0.5})
    with pytest.raises(ValueError, match="results must be possible together, got chance 0 for every cause"):
        finder_of(*runs, looks=(other, dataclasses.replace(other, name="too"))).shares(
            results={"sure": "dead", "too": "cut"})


@pytest.mark.parametrize(("names", "level"), [
    ((), "as ever"), (("low trip",), "low"), (("valve shut",), "as ever"), (("low trip", "overflow"), "high")])
def test_the_level_is_told_by_what_happened(names, level):
    assert finder_module._level([Happening(0.0, name, "") for name in names]) == level


@pytest.mark.parametrize(("lit", "flashing", "said"), [
    (True, False, "green"), (True, True, "green, flashing"), (False, True, "dark")])
def test_a_lamp_as_a_sign(lit, flashing, said):
    lamp = SimpleNamespace(unit="KF1", name="ACTIVE", lit=lit, flashing=flashing, colour="green")
    assert finder_module._lamp_signs([lamp]) == {"KF1 ACTIVE": said}


def test_a_fault_is_run_with_the_settings_that_are_given():
    """With the cycle count in the heartbeat a frozen unit is missed, and without it is not."""
    settings = PairSettings(count_in_heartbeat=True)
    for given, leads in ((settings, "KF2"), (None, "KF1")):
        assert FaultFinder(load_plant(), given)._effect("KF1: frozen", "KF1").leads_after == leads


def test_signs_of_a_plant_with_one_controller_and_no_process(finder):
    plant = load_plant("mirelow")
    alone = FaultFinder(plant)
    assert not {"led before", "tank level"} & {*alone.signs} and alone.normal() == alone.normal(None)
    assert {"led before", "tank level"} < {*finder.signs}
    assert finder.normal("KF2")["led before"] == "KF2" and finder.normal()["led before"] == "KF1"
    weights = {leader: math.fsum(each.weight for each in finder.runs if each.leader == leader)
               for leader in ("KF1", "KF2")}
    assert weights == pytest.approx({"KF1": 0.5, "KF2": 0.5}, rel=1e-12)


def test_what_never_comes_is_no_cause_and_a_blind_panel_shows_no_alarm(finder):
    plant = load_plant("mirelow")
    often = {**plant.how_often, "controller": {"stopped": 0.0}}
    assert {each.cause for each in FaultFinder(plant).runs} - {each.cause for each in FaultFinder(
        dataclasses.replace(plant, how_often=often)).runs} == {"KF1: stopped"}
    rig = Rig(finder.plant)
    rig.switch_on("KF2: no power")
    rig.wait(10)
    standing = [sign for sign, value in finder.read(rig).items() if value == "stands"]
    rig.switch_on("WF3: cut")
    rig.wait(10)
    assert standing and not [sign for sign, value in finder.read(rig).items() if value == "stands"]
    assert finder.read(rig)["tank level"] == "as ever"
