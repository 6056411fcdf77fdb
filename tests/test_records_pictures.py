"""The panel of the limits, and the picture of a year, at every corner of the controls."""

import itertools
import logging
import math
import re
import xml.etree.ElementTree as ET

import matplotlib
import pytest
from scipy.stats import chi2

from labkit.availability.parts import Part
from labkit.evidence.example_year import example_year
from labkit.evidence.log_cleaning import clean_log
from labkit.plant.plant import load_plant
from lessons.panels.drawn import themed_svg
from lessons.panels.limits_panel import MOST_FAILURES, MOST_YEARS, limits_panel
from lessons.pictures import svg
from lessons.pictures.block_diagrams import block_diagram
from lessons.pictures.figure import slide_svg
from lessons.pictures.figure_writing import write_picture
from lessons.pictures.limits_bar import limits_alt_text, limits_svg, limits_verdict
from lessons.pictures.page import axes
from lessons.pictures.svg import text_width
from lessons.pictures.two_states_picture import two_states_picture
from lessons.pictures.year_strip import plot_year, year_words
from tests.test_log import with_refused_test

matplotlib.use("agg")
CORNERS = list(itertools.product((1, 2, MOST_YEARS), (0, 1, 2, MOST_FAILURES)))


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture(scope="module")
def plant():
    return load_plant()


@pytest.mark.parametrize(("years", "failures"), CORNERS)
def test_the_picture_says_what_the_limits_are(years, failures):
    drawn = svg.alone(limits_svg(years, failures))
    said = " ".join([*limits_verdict(years, failures),
                     *(node.text or "" for node in ET.fromstring(drawn).iter()
                       if node.tag.endswith("text"))])
    # Time-censored limits: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1.
    hours = 2 * years * 8760
    lower = 2 * hours / chi2.ppf(0.95, 2 * failures + 2)

    def written(value):
        """Four digits, as on the scale of the picture nobody can see more."""
        return f"{float(f'{value:.4g}'):,.0f}".replace(",", "\u202f")

    assert written(lower) in said
    words = limits_alt_text(years, failures)
    assert len(words.split()) <= 60 and not re.search(r"inf|nan|None", words + said)
    if failures:
        upper = 2 * hours / chi2.ppf(0.05, 2 * failures)
        assert written(upper) in said and "mean" in said
        verdict = ("neither proved" if lower <= 60_000 <= upper else
                   "speak against" if upper < 60_000 else "are better")
        assert verdict in said.lower() and verdict in words
    else:
        assert "no upper limit" in said
    for rect in (node for node in ET.fromstring(drawn).iter() if node.tag.endswith("rect")):
        assert float(rect.get("width")) >= 0
        assert 0 <= float(rect.get("x")) <= 860


def test_the_panel_follows_its_controls(caplog):
    caplog.set_level(logging.ERROR)
    panel = limits_panel()
    for years, failures in CORNERS:
        panel.years.value, panel.failures.value = years, failures
        assert panel.problem is None
        assert limits_svg(years, failures) == panel.picture.value
        assert limits_alt_text(years, failures) in panel.text()
        # The line of the plant file crosses no words.
        if mean := re.search(r'x="([\d.]+)"[^>]*>(mean [^<]+)<', panel.picture.value):
            half = text_width(mean.group(2), 14) / 2
            # Six decades from 100 h on are 820 wide, and begin at 40.
            assert abs(float(mean.group(1)) - 40 - 820 * (math.log10(60_000) - 2) / 6) > half
        svg, words = panel.still_picture()
        assert "<style" in svg and words in panel.text()
    assert not caplog.records
    panel.close()


@pytest.mark.parametrize(("years", "failures"), [(0, 1), (-1, 1), (1, -1), (1, 0.5)])
def test_refusals(years, failures):
    with pytest.raises((TypeError, ValueError), match="must be"):
        limits_svg(years, failures)


@pytest.mark.parametrize("more", [False, True], ids=["plain", "second failure, refused test"])
def test_the_year_shows_what_the_log_holds(plant, more):
    rows = with_refused_test(second_failure=True) if more else example_year()
    log = clean_log(rows, plant)
    ax = plot_year(log, plant)
    names = [label.get_text() for label in ax.get_yticklabels()]
    counted = {re.sub(r" \(.*", "", name): name for name in names}
    assert counted["switchover tests"] == f"switchover tests ({12 if more else 11})"
    assert "bus noise (38)" in names and "process alarms (175)" in names
    marks = dict(zip(counted, ([] for _ in names)))
    for drawn in ax.lines:
        if len(drawn.get_xdata()):
            marks[list(counted)[int(drawn.get_ydata()[0])]] = list(drawn.get_xdata())
    assert len(marks["failures"]) == (6 if more else 5)
    # 11 February is day 41 after 1 January; the controller failed at 09:14.
    assert any(math.isclose(day, 41 + (9 + 14 / 60 + 3 / 3600) / 24, rel_tol=1e-9)
               for day in marks["failures"])
    said = [each.get_text() for each in ax.texts]
    assert {"KF1", "KF20B", "TF1", "GP1", "GB1"} <= set(said)
    assert any("dead at most 28 days" in each for each in said)
    assert ax.get_xlabel() == "month" and ax.get_xlim() == (0, 365)
    words = year_words(log, plant)
    assert len(words.split()) <= 60 and "4 false switchovers in 1 group" in words


def test_the_year_draws_on_given_axes(plant):
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(16, 9))
    assert plot_year(clean_log(example_year(), plant), plant, ax) is ax
    sizes = [each.get_fontsize() for each in (*ax.texts, *ax.get_xticklabels())]
    assert min(sizes) >= 18


ODD = "KF1\x1b[2J\x00 <b> & \u202eoff \ud800\uffff"


@pytest.mark.parametrize("draw", [
    lambda file: write_picture(lambda ax: ax.set_title(ODD).axes, file).read_text("utf-8"),
    lambda file: themed_svg(lambda ax: axes(ax, ODD, "", ""), ODD),
    lambda file: svg.document([svg.text(0, 0, ODD)], 9, 9, ODD),
    lambda file: slide_svg(svg.document([svg.text(0, 0, ODD)], 9, 9, ODD), "dark", ODD),
    lambda file: two_states_picture(ODD, mtbf_h=5, mttr_h=4).svg,
    lambda file: block_diagram(Part(ODD, mtbf_h=500, mttr_h=4)).svg,
], ids=["file", "panel", "drawn", "slide", "states", "blocks"])
def test_a_picture_is_xml_whatever_a_text_holds(draw, tmp_path):
    # That it is well-formed is said by expat (standard library).
    drawn = ET.fromstring(draw(tmp_path / "a.svg"))
    said = " ".join(each for node in drawn.iter() for each in (node.text, *node.attrib.values())
                    if each)
    assert r"KF1\x1b[2J\x00 <b> & \u202eoff \ud800\uffff" in said
