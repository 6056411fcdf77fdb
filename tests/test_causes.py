"""What stops a function, each cause by its first term, worked by hand on small plants."""

from dataclasses import replace
from pathlib import Path

import pytest

from labkit.plant.causes import (
    asleep_when_asked,
    causes_of,
    latent_causes_of,
    left_of,
    meeting,
    modes_of,
)
from labkit.plant.plant import load_plant
from tests.plants import PAIR, SINGLE

DAIRY = Path(__file__).parent / "plant_files" / "tarn_dairy.toml"


def plant_of(folder, text):
    file = folder / "plant.toml"
    file.write_text(text, "utf-8")
    return load_plant(file)


def test_the_mains_stop_by_long_cuts_and_by_short_ones():
    """By hand: 8760 / 9000 long cuts of 2.5 h a year, and 5 short ones of 0.02 h.

    They come while the mains are there, which they are but for 2.5 / 9002.5 and 0.1 / 8760.
    """
    found = {each.length: each for each in causes_of(load_plant(DAIRY), "milk cold")
             if each.name == "QA1"}
    there = 1 - 2.5 / 9002.5 - 0.1 / 8760
    for length, per_year, mean_h in (("long cuts", 8760 / 9000, 2.5), ("short cuts", 5.0, 0.02)):
        each = found.pop(length)
        assert each.outages_per_year == pytest.approx(per_year * there, rel=1e-6)
        assert each.mean_down_h == pytest.approx(mean_h, rel=1e-9)
        assert each.down_min_per_year == pytest.approx(per_year * there * mean_h * 60, rel=1e-6)
    assert not found


def test_sets_of_more_than_three_failures_are_left_out(tmp_path):
    """Four blowers of which one is enough: no set of three stops them, the one of four does."""
    blowers = "".join(
        f'''[[part]]
designation = "G{number}"
what = "blower"
kind = "blower"
mtbf_h = 20000
mttr_h = 12
''' for number in range(1, 5))
    plant = plant_of(tmp_path, SINGLE + blowers + '''[[function]]
name = "air"
needs = [{at_least = 1, of = ["G1", "G2", "G3", "G4"]}]
''')
    assert modes_of(plant, "air") == () and causes_of(plant, "air") == ()
    (mode,) = modes_of(plant, "air", largest=4)
    assert mode.failures == ("G1", "G2", "G3", "G4") and mode.size == 4
    # a unit that is out, or a state of the pair, counts as one of the things that come together
    for largest in (1, 2):
        sizes = {each.size for each in modes_of(load_plant(), "control kept", largest=largest)}
        assert max(sizes) == largest


def test_what_is_out_together_is_taken_off_again(tmp_path):
    """Both blowers needed, out for 0.2 and 0.1 of the time and each 0.01 times an hour, by hand.

    Both out: 0.02 of the time. Then one of them begins an outage that the other has begun already:
    0.01 x 0.1 + 0.01 x 0.2 times an hour.
    """
    blowers = "".join(f"""[[part]]
designation = "G{number}"
what = "blower"
kind = "blower"
mtbf_h = {mtbf_h}
mttr_h = {mttr_h}
""" for number, mtbf_h, mttr_h in ((1, 80, 20), (2, 90, 10)))
    plant = plant_of(tmp_path, SINGLE + blowers + '[[function]]\nname = "air"\nneeds = ["G1", "G2"]\n')
    causes = causes_of(plant, "air")
    assert {each.name: each.outages_per_year for each in causes} == pytest.approx(
        dict.fromkeys(("G1", "G2"), 87.6), rel=1e-12)
    found = meeting(plant, "air", causes)
    assert found.outages_per_year == pytest.approx(-0.003 * 8760, rel=1e-10)
    assert found.mean_down_h == pytest.approx(0.02 / 0.003, rel=1e-10)
    assert found.down_min_per_year == pytest.approx(-0.02 * 8760 * 60, rel=1e-10)


def test_what_sleeps_together_is_named_and_has_its_chance(tmp_path):
    """By hand, asked for after 1000 h, a tenth of the faults of a unit and half of those of W2 unseen.

    One unit: 0.1 x (1 - exp(-0.95 / 60)) = 1.57086e-3; both by one cause: 0.1 x (1 - exp(-0.05 / 60))
    = 8.32986e-5; W2: 0.5 x (1 - exp(-0.0025)) = 1.24844e-3. Then both are put right, the units in
    4 h, the cable in 6 h: the first of the two ends it, after 1 / (1/4 + 1/6) = 2.4 h.
    """
    text = SINGLE.replace('reached = ["R1"]', 'reached = ["R1"]\nidle_h = 1000')
    pair = PAIR.replace("mtbf_h = 4e9", "mtbf_h = 4e5").replace(
        'designation = "W2"', 'designation = "W2"\nnoticed = 0.5')
    plant = plant_of(tmp_path, text + pair)
    found = {each.name: each for each in latent_causes_of(plant, "control kept")}
    assert list(found) == ["A1+A2 asleep", "W2 and A1 asleep"]  # the likelier first
    one, both, cable = 1.57086e-3, 8.32986e-5, 1.24844e-3
    # the common cause, or A1 and with it A2 or W2; what both units do by themselves stands beside the
    # common cause, so a product of the two, 4e-7 of the whole, counts once more
    beside_a1 = 1 - (1 - one) * (1 - cable)
    assert asleep_when_asked(plant, "control kept") == pytest.approx(
        1 - (1 - both) * (1 - one * beside_a1), rel=1e-6)
    for name, chance, mean_h in (("A1+A2 asleep", one**2 + both, 4.0),
                                 ("W2 and A1 asleep", one * cable, 2.4)):
        each = found.pop(name)
        assert each.outages_per_year == pytest.approx(chance, rel=1e-5)
        assert each.mean_down_h == pytest.approx(mean_h, rel=1e-9)
    assert not found


def test_a_cut_that_no_battery_ever_sees_the_end_of_stops_no_start(tmp_path):
    """Cuts of 72 s outlast a battery of 20 h by exp(-1000), which is 0; half of what G1 has sleeps.

    0.5 (1 - exp(-1000 / 20 000)) = 0.0243853.
    """
    parts = "".join(f'''[[part]]
designation = "{name}"
what = "{kind}"
kind = "{kind}"
noticed = {noticed}
mtbf_h = 20000
mttr_h = {mttr_h}
{more}
''' for name, kind, noticed, mttr_h, more in (
        ("G1", "blower", 0.5, 12, 'fed_by = ["T1"]'), ("Q1", "mains", 1, 0.02, ""),
        ("T1", "ups", 1, 8, 'fed_by = ["Q1"]\nbattery_h = 20')))
    plant = plant_of(tmp_path, SINGLE + parts + '[[function]]\nname = "air"\nneeds = ["G1"]\nidle_h = 1000\n')
    assert asleep_when_asked(plant, "air") == pytest.approx(0.0243853, rel=1e-5)
    assert [each.name for each in causes_of(plant, "air")] == ["G1", "T1"]


def test_a_function_that_no_wire_reaches_has_no_causes(tmp_path):
    plant = plant_of(tmp_path, SINGLE)
    assert [mode.failures for mode in modes_of(plant, "control kept")] == [("A1",), ("R1",), ("W1",)]
    cut = replace(plant, parts=plant.parts | {"W1": replace(plant.parts["W1"], joins=())})
    with pytest.raises(ValueError, match="function must be able to work with all parts whole, got "
                                         "'control kept'"):
        modes_of(cut, "control kept")


def test_what_is_left_is_nothing_within_rounding():
    assert left_of(1.0, [0.25, 0.75 + 0.9e-12]) == 0.0
    assert left_of(1.0, [0.25, 0.75 + 1.1e-12]) == pytest.approx(-1.1e-12, rel=1e-3)


def test_a_function_that_never_stands_idle_has_no_start_from_rest():
    """The archive is kept all the year: its servers start when one fails, and not once a year from rest."""
    plant = load_plant(Path(__file__).parent / "plant_files" / "reed_archive.toml", "by hand")
    assert any(duty.starts < 1 for duty in plant.changeovers)
    assert [latent_causes_of(plant, name) for name in plant.functions_counted] == [()] * len(
        plant.functions_counted)
