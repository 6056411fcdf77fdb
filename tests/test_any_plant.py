"""What lessons 02, 08, 10 and 12 show, at plants of other files."""

from pathlib import Path

import pytest

from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from lessons import block_diagram, drill_panel, finder, flaws_panel, plant_panel, worth_panel
from lessons.__main__ import main
from lessons.papers.papers import make_paper
from lessons.pictures.block_diagrams import block_words, ways_diagram
from lessons.pictures.plant_picture import plant_svg

FOLDER = Path(__file__).parent / "plant_files"
NAMES = ("osier_weir", "sallow_lock", "reed_archive")


@pytest.mark.parametrize("name", NAMES)
def test_lessons_take_any_plant(name):
    file = str(FOLDER / f"{name}.toml")
    plant = load_plant(file)
    for function in plant.functions_counted:
        words = repr(block_diagram(plant.block(function)))
        # Who leads is said in words, not as states of a chain.
        assert words.startswith("Block diagram: ") and "Chain(" not in words
    assert finder(file).plant.name == plant.name
    assert plant.name in plant_panel(file).text()
    assert drill_panel("10-drill", plant=file).text()
    worth = worth_panel(file)
    assert f"{len(plant.variants)} variants" in worth.text() and "blowers" not in worth.text()


@pytest.mark.parametrize("width", [1256, 940, 412])
def test_what_a_part_is_stands_whole_or_not_at_all(width):
    dairy = load_plant(FOLDER / "tarn_dairy.toml")
    drawn = plant_svg(dairy, Switchover(dairy).snapshot(), width=width)
    assert ">thermostat<" in drawn and "…<" not in drawn


def test_the_worth_panel_begins_with_the_numbers_of_the_paper():
    """Mirelow on paper: 692 EUR a year with a spare; each outage as long as its mean: 275."""
    words = " ".join(worth_panel("mirelow").text().split())
    paper = make_paper(load_plant("mirelow"), "comparison", date="2031-05-06").main
    by_name = {row["variant"]: row for row in paper.rows}
    assert (by_name["spare"]["loss"], by_name["spare"]["fixed"]) == ("692", "275")
    assert f"no spare: {by_name['no spare']['total']}. Least".replace("\xa0", " ") in words
    assert f"thermostat with {by_name['thermostat']['total'].removesuffix(' (least)')}," in words


def test_the_flaws_begin_at_the_pair_of_the_plant():
    """1.992 min/a: common cause 0.05, coverage 0.97, 0.9 of the standby faults seen, 4 h."""
    assert "1.992 min a year" in flaws_panel(str(FOLDER / "osier_weir.toml")).text()
    with pytest.raises(ValueError, match="must have a pair, got Reed Archive"):
        flaws_panel(str(FOLDER / "reed_archive.toml"))


def test_ways_are_those_of_who_leads():
    """The lights have a controller of their own: no way of the pair stands in their diagram."""
    lock = load_plant(FOLDER / "sallow_lock.toml")
    assert block_words(ways_diagram(lock, "lights shown")) == "TB1 - KF5 - KF50"
    assert block_words(lock.block("gates moved")) == \
        "MA1 - KF10 - ((KF1 leads - TB1 - WF1) | (KF2 leads - TB2 - WF2))"


def test_the_check_the_panel_and_the_papers_say_alike_what_of_a_second_pair_is_not_run(capsys):
    file = str(FOLDER / "sallow_lock.toml")
    lock = load_plant(file)
    ((pair, said),) = lock.second_pairs.items()
    assert pair == "second pair KF3, KF4" and "run by no paper and no panel" in said
    assert main(["check", file]) == 0
    assert f"{pair}: {said}" in capsys.readouterr().out
    assert f"{said}." in plant_panel(file).page and said not in plant_panel().page
    paper = make_paper(lock, "failure_modes", date="2031-05-06")
    assert {"what": pair, "value": said, "source": "the file"} in paper.assumptions
