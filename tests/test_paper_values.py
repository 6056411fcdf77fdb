"""What the papers print, held by value: rates, severities, stocks, money, limits (see the file)."""

import csv
import functools
import io
import re
import tomllib
from pathlib import Path

import pytest

from labkit.plant.plant import load_plant
from lessons.papers.basis import Basis, hours, money, per_year, share
from lessons.papers.papers import MAKERS

HELD = tomllib.loads(Path(__file__).with_name("paper_values.toml").read_text("utf-8"))
DATE = "2031-05-06"


def spaced(text):
    return re.sub("[\u00a0\u2009\u202f]", " ", text)


@functools.cache
def basis(plant):
    return Basis(load_plant(plant), date=DATE)


@functools.cache
def paper(plant, name):
    maker, = (each for each in MAKERS if each.__name__ == name)
    return maker(basis(plant))


def modes(plant):
    table = csv.DictReader(io.StringIO(paper(plant, "failure_modes").csv()))
    return [{key: spaced(text) for key, text in row.items()} for row in table
            if row["kind"] == "row"]


@pytest.mark.parametrize("held", HELD["modes"], ids=lambda held: held["plant"])
def test_rate_and_severity_of_every_mode(held):
    found = [f"{row['severity']} | {row['rate']} | {row['designation']} | {row['mode']}".replace(
        "\n", " ") for row in modes(held["plant"])]
    assert found == held["rows"].strip().splitlines()


@pytest.mark.parametrize("held", HELD["row"], ids=lambda held: f"{held['designation'][:12]} "
                                                               f"{held['mode']}")
def test_words_of_a_mode(held):
    found, = [row for row in modes(held["file"])
              if (row["designation"], row["mode"]) == (held["designation"], held["mode"])]
    assert {key: found[key] for key in held if key != "file"} == {
        key: text for key, text in held.items() if key != "file"}


@pytest.mark.parametrize("held", HELD["block"], ids=lambda held: f"{held['paper']} "
                                                                 f"{held['section'][:20]}")
def test_a_section_prints_these_lines(held):
    text = spaced(paper(held["plant"], held["paper"]).markdown()).replace("\\|", "|")
    section = re.split(r"\n#+ ", text.partition(f"# {held['section']}\n")[2])[0]
    found = [line.strip() for line in section.splitlines()
             if line.strip() and not line.startswith("| ---")]
    lines = held["lines"].strip().splitlines()
    if held["whole"]:
        assert found == lines
    else:
        at = iter(found)
        assert [line for line in lines if line not in at] == []  # there, and in this order


def test_how_numbers_are_written():
    assert [spaced(hours(value)) for value in (1000, 999.9, 0.219, 12_345.6)] == [
        "1 000", "1e+03", "0.219", "12 346"]
    assert [spaced(money(value)) for value in (0, 999.6, -1234.5, 1_234_567)] == [
        "0", "1 000", "-1 234", "1 234 567"]
    assert [spaced(per_year(value)) for value in (0, -1, 0.01, 0.00999, 1.26, 1 / 2_345)] == [
        "never", "never", "0.01/a", "1 in 100 a", "1.3/a", "1 in 2 300 a"]
    assert [share(value) for value in (0, 1e-4, 9.9e-5, 0.9, 0.9123, 0.9995, 0.9994, 1)] == [
        "0 %", "0.01 %", "< 0.01 %", "90 %", "91.2 %", "> 99.9 %", "99.9 %", "100 %"]
