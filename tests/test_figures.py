"""Still pictures: labels, units, limits and data, and words that are true."""

import doctest
import hashlib
import re
import xml.etree.ElementTree as ET

import matplotlib
import numpy as np
import pytest

from labkit import figures, poster
from labkit import stills as stills_module
from labkit.figures import (
    plot_histories,
    plot_level,
    plot_next_failures,
    plot_survival,
    plot_takeover,
    plot_unavailability,
)
from labkit.markov import redundant_pair, two_state
from labkit.plant import load_plant
from labkit.poster import main_panel_svg
from labkit.rig import Rig
from labkit.stills import stills, write_figures
from tests.browser import ROOT
from tests.test_layout import plant_of

matplotlib.use("agg")


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture
def cut():
    rig = Rig()
    rig.wait(1)
    rig.switch_on("KF1: no power")
    rig.wait(1)
    return rig


def texts(ax):
    return [each.get_text() for each in ax.texts]


def labelled(ax):
    return bool(ax.get_title(loc="left")) and bool(ax.get_xlabel())


def test_survival_is_the_exponential():
    ax = plot_survival(60_000)
    x, y = ax.lines[0].get_data()
    assert ax.get_xlabel() == "time [years]" and ax.get_ylabel() == "not failed yet [%]"
    np.testing.assert_allclose(y, 100 * np.exp(-np.asarray(x) * 8760 / 60_000), rtol=1e-12, atol=0)
    # exp(-1) = 0.3679: what survives one MTBF.
    assert "at the MTBF: 36.8 %" in texts(ax) and "after one year: 86.4 %" in texts(ax)


@pytest.mark.parametrize("mtbf_h", [0, -1, float("nan"), float("inf")])
def test_survival_refuses(mtbf_h):
    with pytest.raises(ValueError, match="mtbf_h must be > 0 and finite, got"):
        plot_survival(mtbf_h)


def test_histories_show_what_they_count():
    ax = plot_histories({"A": (990, 10), "B": (99, 1)}, 8760, seed=1)
    assert ax.get_xlim() == (0, 8760) and labelled(ax)
    downs = ax.collections[1::2]
    for row, said in zip(downs, texts(ax)):
        spans = [path.vertices[:, 0] for path in row.get_paths()]
        assert said.startswith(f"{len(spans)} stop")
        share = sum(span.max() - span.min() for span in spans) / 8760
        assert f"down {100 * share:.2f} %" in said
    again = plot_histories({"A": (990, 10), "B": (99, 1)}, 8760, seed=1)
    assert texts(again) == texts(ax)
    assert texts(plot_histories({"A": (990, 10)}, 8760, seed=2)) != texts(ax)[:1]


@pytest.mark.parametrize(
    ("parts", "duration_h", "message"),
    [
        ({}, 10, "parts must hold at least one part, got none"),
        ({"A": (1, 1)}, 0, "duration_h must be > 0, got 0"),
        ({"A": (0, 1)}, 10, "MTBF and MTTR of A must be > 0, got 0 and 1"),
    ],
)
def test_histories_refuse(parts, duration_h, message):
    with pytest.raises(ValueError, match=message):
        plot_histories(parts, duration_h)


@pytest.mark.parametrize("model", [two_state(60_000, 4), redundant_pair(60_000, 4)])
def test_unavailability_meets_its_long_run(model):
    ax = plot_unavailability(model, 200)
    x, y = ax.lines[0].get_data()
    assert y[0] == 0 and y[-1] == pytest.approx(model.unavailability, rel=1e-6, abs=0)
    assert ax.lines[1].get_ydata()[0] == model.unavailability
    assert ax.get_ylim() == (0, 1.15 * model.unavailability)
    styles = {line.get_linestyle() for line in ax.lines}
    assert len(styles) == 2 and ax.get_xlim() == (0, 200)


def test_closed_form_is_what_is_drawn():
    # Two states from up at 0: U(t) = U (1 - exp(-(1/MTBF + 1/MTTR) t)).
    x, y = plot_unavailability(two_state(60_000, 4), 24).lines[0].get_data()
    rate = 1 / 60_000 + 1 / 4
    np.testing.assert_allclose(
        y, 4 / 60_004 * -np.expm1(-rate * np.asarray(x)), rtol=1e-11, atol=0)


def test_takeover_shows_the_record(cut):
    ax = plot_takeover(cut, 900, 1500)
    rows = [label.get_text() for label in ax.get_yticklabels()]
    assert rows == ["KF1 role", "KF2 role", "KF10 outputs", "KF20 outputs", "KF30 outputs"]
    change = {
        (e.who, e.new): e.time_ms for e in cut.record if e.what in ("role", "outputs")
    }
    edges = sorted({
        round(float(each))
        for bar in ax.collections for path in bar.get_paths() for each in path.vertices[:, 0]
    })
    assert edges == sorted({900, 1500, 1000, change["KF2", "active"], change["KF10", "written"]})
    assert {"active", "off", "standby", "held", "written"} <= set(texts(ax))
    assert any("KF1: no power" in each for each in texts(ax))
    hatches = {bar.get_hatch() for bar in ax.collections}
    assert len(hatches) >= 3  # told apart without colour


def test_quiet_time_is_one_bar_a_row():
    rig = Rig()
    rig.wait(1)
    ax = plot_takeover(rig, 0, 1000)
    assert len(ax.collections) == 5


@pytest.mark.parametrize(("start_ms", "end_ms"), [(-1, 5), (5, 5), (9, 5)])
def test_takeover_refuses(cut, start_ms, end_ms):
    with pytest.raises(ValueError, match="start_ms and end_ms must be 0 <= start_ms < end_ms"):
        plot_takeover(cut, start_ms, end_ms)


def test_level_with_its_limits():
    rig = Rig()
    rig.switch_on("QM1: shut locally")
    rig.wait(30)
    view = rig.view()
    ax = plot_level(view.trend, view.tank)
    assert ax.get_ylabel() == "level [m]" and ax.get_xlabel() == "time [s]"
    drawn = {line.get_label(): line for line in ax.lines}
    assert {"overflow 1.44 m", "set-point 1.20 m", "low trip 0.60 m"} < set(drawn)
    np.testing.assert_array_equal(drawn["level"].get_ydata(), view.trend.level_m)
    assert len({line.get_linestyle() for line in ax.lines}) == 4
    low, high = ax.get_ylim()
    assert low < 0.60 and high > 1.44


def test_next_failures_are_those_of_the_plant():
    state = load_plant().state({"KF1"})
    ax = plot_next_failures(state, "control kept")
    assert [label.get_text() for label in ax.get_yticklabels()] == list(
        state.next_failures["control kept"])
    widths = [bar.get_width() for bar in ax.patches]
    assert widths == sorted(widths, reverse=True)
    np.testing.assert_allclose(
        widths, [8760 * f.rate_per_h for f in state.next_failure_details["control kept"]],
        rtol=1e-12, atol=0)


def test_next_failures_refuse():
    plant = load_plant()
    with pytest.raises(ValueError, match="function must be one of control kept, .*, got 'tea'"):
        plot_next_failures(plant.state(()), "tea")
    with pytest.raises(ValueError, match="function must have failures that would stop it next"):
        plot_next_failures(plant.state({"TB1"}), "control kept")


def test_drawing_on_given_axes_changes_nothing_else(cut):
    import matplotlib.pyplot as plt

    before = dict(matplotlib.rcParams)
    figure, axes = plt.subplots(2, 3, figsize=(16, 9))
    for still, ax in zip(stills().values(), axes.flat):
        assert still.draw(ax) is ax and labelled(ax)
    assert len(plt.get_fignums()) == 1
    figure.canvas.draw()
    assert dict(matplotlib.rcParams) == before


def test_type_can_be_read_from_the_last_row():
    import matplotlib.pyplot as plt

    for still in stills().values():
        _, ax = plt.subplots(figsize=(16, 9))
        still.draw(ax)
        sizes = [each.get_fontsize() for each in
                 (*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label)]
        assert min(sizes) >= 18


@pytest.mark.parametrize("name", stills())
def test_words_of_the_pictures(name):
    still = stills()[name]
    assert len(still.alternative.split()) <= 60 and still.caption.endswith(".")
    assert not re.search(r"None|nan|inf\b", still.alternative)


def test_words_are_true():
    words = {name: still.alternative for name, still in stills().items()}
    # Ride-through by hand: 1.5 m2 x 0.24 m / 30 L/s = 12 s.
    assert "after 12 s" in words["level_shut_valve"]
    gap_ms = int(re.search(r"held for (\d+) ms", words["takeover"]).group(1))
    assert 175 <= gap_ms <= 285  # the budget of the lessons' settings
    # By hand: 4 / 60 004; exp(-8760 / 60 000) and exp(-1).
    assert "6.666e-05" in words["two_states_in_time"]
    assert "86.4 %" in words["survival"] and "36.8 %" in words["survival"]


def test_files_are_the_same_each_time(tmp_path):
    def sums(folder):
        return {path.name: hashlib.sha256(path.read_bytes()).hexdigest()
                for path in write_figures(folder)}

    first = sums(tmp_path / "one")
    # What is text and ours must be what the folder holds; drawings differ with matplotlib.
    for name in ("main_panel.svg", "words.md"):
        stored = (ROOT / "figures" / name).read_bytes()
        assert (tmp_path / "one" / name).read_bytes() == stored, (
            "make the pictures anew: labkit.stills.write_figures('figures')")
    assert first == sums(tmp_path / "two")
    assert {"main_panel.svg", "takeover.png", "takeover.svg", "words.md"} <= set(first)
    for path in (tmp_path / "one").glob("*.svg"):
        ET.parse(path)
    said = (tmp_path / "one" / "words.md").read_text(encoding="utf-8")
    assert all(f"## {name}" in said for name in (*stills(), "main_panel"))
    from matplotlib.image import imread

    assert all(imread(path).shape[:2] == (900, 1600) for path in (tmp_path / "one").glob("*.png"))


def test_pictures_can_be_chosen(tmp_path):
    assert [path.name for path in write_figures(tmp_path, ["main_panel"])] == ["main_panel.svg"]
    with pytest.raises(ValueError, match="names must be of main_panel, survival, .*, got 'cat'"):
        write_figures(tmp_path, ["cat"])


def test_main_panel_as_one_picture(cut):
    svg, alternative = main_panel_svg(cut.view())
    tree = ET.fromstring(svg)
    said = [node.text for node in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert "KF2 leads alone; KF1 is off." in said and "control kept: WORKS" in said
    assert "KF2 role: standby → active" in said and "overflow 1.44 m" in said
    assert tree.get("aria-label") == alternative and len(alternative.split()) <= 60
    inner = [node for node in tree if node.tag.endswith("svg")]
    width, height = (float(tree.get(name)) for name in ("width", "height"))
    for node in inner:
        assert float(node.get("x")) + float(node.get("width")) <= width
        assert float(node.get("y")) + float(node.get("height")) <= height
        assert "lk-svg" not in node.get("class")


def test_main_panel_of_a_plant_without_a_tank():
    svg, _ = main_panel_svg(Rig(plant_of(1, 2)).view())
    assert ET.fromstring(svg) is not None and "level [m]" not in svg


@pytest.mark.parametrize("module", [figures, poster, stills_module])
def test_examples(module):
    result = doctest.testmod(module)
    assert result.attempted and not result.failed
