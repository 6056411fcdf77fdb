"""Still pictures: labels, units, limits and data, and words that are true."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.image import imread

from labkit.markov.flaws import Flaws
from labkit.markov.latent import latent_faults
from labkit.plant.plant import load_plant
from labkit.plant.variants import compare_variants
from labkit.rig.rig import Rig
from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from lessons.pictures import figure_writing
from lessons.pictures.dead_standby import latent_svg
from lessons.pictures.figure import Still
from lessons.pictures.figure_choice import left_out, stills
from lessons.pictures.figure_writing import png_of, write_figures, write_picture
from lessons.pictures.flaw_bars import flaws_svg
from lessons.pictures.loss_and_price import variants_svg
from lessons.pictures.next_failures import plot_next_failures
from lessons.pictures.page import inks, sheet
from lessons.pictures.part_curves import plot_histories, plot_survival
from lessons.pictures.plant_picture import plant_svg
from lessons.pictures.proven_curves import plot_mtbf_limits
from lessons.pictures.settling import Histories, settling_svg
from lessons.pictures.takeover_rows import takeover_svg
from lessons.pictures.time_out_picture import time_out_svg
from lessons.pictures.trend import level_picture
from lessons.teaching.class_picture import plot_class
from lessons.teaching.class_table import ClassTable, Learner
from tests.browser import ROOT
from tests.contrast import contrast
from tests.test_plant_keys import any_of, part, plant_of

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


def words_in(svg):
    return [node.text for node in ET.fromstring(svg).iter() if node.tag.endswith("text")]


def bars_in(svg, *kinds):
    """Return (left, width) of the bars of these kinds, from top to bottom."""
    return [(float(node.get("x")), float(node.get("width"))) for node in ET.fromstring(svg).iter()
            if node.tag.endswith("rect") and node.get("class") in kinds]


def points_of(drawn, kind):
    """Return the corners of the line of a kind."""
    path = next(node for node in ET.fromstring(drawn).iter() if node.get("class") == kind)
    if path.get("points"):
        return np.array([[float(n) for n in pair.split(",")] for pair in path.get("points").split()])
    corners = re.findall(r"([\d.]+),([\d.]+)", re.sub(r"Q\S+ ", "L", path.get("d")))
    return np.array([*dict.fromkeys(corners)], float)


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


def test_settling_is_the_closed_form():
    drawn = settling_svg(Histories(60_000, 4, 24, starts_down=False, outages=()))
    x, y = points_of(drawn, "curve").T
    # Two states from up at 0: U(t) = U (1 - exp(-(1/MTBF + 1/MTTR) t)); the scale ends at 1.1 of
    # the most, 24 h are 768 units wide and the frame is 374 high.
    exact = 4 / 60_004 * -np.expm1(-(1 / 60_000 + 1 / 4) * (x - 92) / 768 * 24)
    np.testing.assert_allclose(420 - y, 374 * exact / exact.max() / 1.1, atol=0.12, rtol=0)
    assert "dots: long run 6.67e-05" in words_in(drawn) and "MTTR" in words_in(drawn)


def test_takeover_shows_the_record(cut):
    drawn = takeover_svg(cut, 900, 1500, "Words.")
    said = words_in(drawn)
    for row in ("KF1 role", "KF2 role", "KF10 outputs", "KF20 outputs", "KF30 outputs"):
        assert row in said
    change = {
        (e.who, e.new): e.time_ms for e in cut.record if e.what in ("role", "outputs")
    }
    bars = bars_in(drawn, "now", "card", "water", "frame")
    edges = {x for left, width in bars for x in (left, left + width)}
    # 600 ms are 720 units wide.
    wanted = (900, 1500, 1000, change["KF2", "active"], change["KF10", "written"])
    np.testing.assert_allclose(sorted({round(x) for x in edges}),
                               sorted({round(150 + 1.2 * (ms - 900)) for ms in wanted}), atol=1)
    assert {"active", "off", "standby", "held", "written"} <= {*said}
    assert "KF1: no power" in said


def test_quiet_time_is_one_bar_a_row():
    rig = Rig()
    rig.wait(1)
    assert len(bars_in(takeover_svg(rig, 0, 1000, "Words."), "now", "card")) == 5


def test_two_levels_are_told_apart_by_line_and_name():
    rig = Rig()
    rig.switch_on("QM1: shut locally")
    rig.wait(30)
    view = rig.view()
    still = replace(view.trend, level_m=np.full(len(view.trend.time_s), 1.2))
    drawn = level_picture(view, name="shut", beside=("open", still), height=500)
    assert {"overflow 1.44 m", "set-point 1.20 m", "low trip 0.60 m", "line: shut; dashed: open"
            } <= {*words_in(drawn)}
    assert 'viewBox="0 0 900 500"' in drawn
    (low,) = {y for _, y in points_of(drawn, "curve-2")}
    curve = points_of(drawn, "curve")
    # The frame is 442 high for 1.35 times 0.84 m, and the level ends 0.24 m above its start.
    assert curve[0, 1] == low and low - curve[-1, 1] == pytest.approx(
        442 * 0.24 / (1.35 * 0.84), abs=0.2, rel=0)


def test_two_writers_are_shown_in_place_of_outputs():
    rig = Rig(settings=PairSettings(ask_racks=False))
    rig.wait(1)
    rig.switch_on("WF9: cut")
    rig.wait(1)
    said = words_in(takeover_svg(rig, 900, 1500, "Words.", title="Two actives"))
    assert {"Two actives", "KF10 writes", "KF20 writes", "KF30 writes"} <= {*said}
    assert said.count("two writers by turns") == 3 and "KF10 outputs" not in said


def test_time_outs_against_the_count_of_losses():
    drawn = time_out_svg(PairSettings(), Channel(loss=0.01))
    # By hand: n beats in a row are lost; a run begins with the rate of beats x 0.99 x 0.01^n.
    # Twelve decades from 10^-4 are 272 units high.
    per_year = 20 * 3600 * 8760 * 0.99 * 0.01 ** np.arange(1.0, 7)
    heights = 316 - points_of(drawn, "curve")[:, 1]
    np.testing.assert_allclose(heights, 272 * (np.log10(per_year) + 4) / 12, atol=0.06, rtol=0)
    assert {"1.7 a day", "found silent: 110 to 160 ms"} <= {*words_in(drawn)}


def test_flaws_stand_as_far_as_their_minutes():
    drawn = flaws_svg(Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9))
    nodes = [node for node in ET.fromstring(drawn).iter() if node.tag.endswith("circle")]
    # The lines on which the dots stand begin at 0.001 min a year.
    begin = min(x for x, _ in points_of(drawn, "grid"))
    places = [float(node.get("cx")) - begin for node in nodes]
    # One controller, by hand: 8760 x 60 x 4 / 60 004 min a year. Seven decades are 444 wide.
    assert places[0] == pytest.approx(444 * (np.log10(8760 * 60 * 4 / 60_004) + 3) / 7, abs=0.06,
                                      rel=0)
    # Ideal pair: two of such squares, for each of the two may fail first.
    assert places[1] == pytest.approx(
        444 * (np.log10(8760 * 60 * 2 * (4 / 60_004) ** 2) + 3) / 7, abs=0.1, rel=0)
    assert len(places) == 6 and places[1] == min(places) and places[0] == max(places)


def test_dead_standby_has_the_mean_of_the_saw():
    none, some = (latent_faults(4_380, seen, mtbf_h=60_000, mttr_h=4) for seen in (0.0, 0.9))
    drawn = latent_svg(none, beside=("90 % seen", some))
    # The scale ends at 8 % and is 202 units high.
    for kind, share in (("curve", 1.0), ("curve-2", 0.1)):
        x, y = points_of(drawn, kind).T
        mean = np.trapezoid((246 - y) / 202 * 8, x) / (x[-1] - x[0])
        # By hand, first term of the series: the mean of a saw tooth is half its height, T/2 MTBF.
        assert mean == pytest.approx(100 * share * 4_380 / 60_000 / 2, rel=0.05, abs=0)
    assert "dashed: 90 % seen, mean 0.36 %" in words_in(drawn)


def test_mtbf_limits_without_a_failure():
    ax = plot_mtbf_limits(60_000, 17_520)
    hours, proven = (np.asarray(each) for each in ax.lines[0].get_data())
    # No failure: the 90 % lower limit is T / ln 10 (chi-square with two degrees of freedom).
    np.testing.assert_allclose(proven, hours / np.log(10), rtol=1e-9, atol=0)
    assert "17\u202f520 h without a failure:\n7\u202f609 h proven" in texts(ax)


def test_variants_are_loss_and_price():
    outcomes = compare_variants(load_plant())
    drawn = variants_svg(outcomes, currency="GBP")
    most = max(each.total_per_year for each in outcomes)
    losses = bars_in(drawn, "now")[1:]
    np.testing.assert_allclose([width for _, width in losses],
                               [440 * each.loss_per_year / most for each in outcomes], atol=0.06)
    priced = [each for each in outcomes if each.price_per_year]
    np.testing.assert_allclose([width for _, width in bars_in(drawn, "card")[1:]],
                               [440 * each.price_per_year / most for each in priced], atol=0.06)
    assert "GBP a year" in words_in(drawn) and "11\u202f097 + 1\u202f550 = 12\u202f647" in words_in(drawn)


def class_of(**met):
    learners = tuple(
        Learner(str(n), f"{n}.json", "", 1, (), (), {name: 1 for name, count in met.items()
                                                  if n < count}, 1.0) for n in range(30))
    return ClassTable(learners, (), {})


def test_class_is_counted_per_misconception():
    ax = plot_class(class_of(M04=17, M12=9, M21=4))
    assert [bar.get_width() for bar in ax.patches] == [17, 9, 4]
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert [name[:3] for name in names] == ["M04", "M12", "M21"]
    assert "average" in names[0] and all(name.count("\n") <= 1 for name in names)
    assert ax.get_xlabel() == "learners who met it, of 30" and ax.get_xlim() == (0, 30)
    assert "no misconception met" in texts(plot_class(ClassTable((), (), {})))


def test_class_with_many_and_unknown_misconceptions():
    many = {f"M{n:02d}": 30 - n for n in range(1, 15)}
    ax = plot_class(class_of(**many, X99=30))
    assert len(ax.patches) == 11
    (note,) = (each for each in ax.texts if each.get_text() == "and 4 more, met by no more")
    assert note.get_position()[1] > max(bar.get_y() + bar.get_height() for bar in ax.patches)
    assert ax.get_yticklabels()[0].get_text() == "X99"


def test_paper_gives_the_ink():
    for theme, paper in (("light", "#ffffff"), ("dark", "#111111")):
        ink = inks(sheet(theme).add_subplot())
        assert ink["paper"] == paper and contrast(ink["ink"], paper) > 7
    with pytest.raises(ValueError, match="theme must be light or dark, got 'grey'"):
        sheet("grey")


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


STILLS = stills()
DRAWN = [name for name, still in STILLS.items() if still.draw]
MADE_BY_SVG = [name for name in STILLS if name not in DRAWN]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", DRAWN)
def test_type_and_ink_on_both_papers(name, theme):
    before = dict(matplotlib.rcParams)
    figure = sheet(theme)
    ax = figure.add_subplot()
    assert STILLS[name].draw(ax) is ax and labelled(ax)
    figure.canvas.draw()
    legend = ax.get_legend()
    words = [each for each in (
        *ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label, ax.yaxis.label,
        ax.xaxis.get_offset_text(), ax.yaxis.get_offset_text(), ax._left_title,
        *(legend.get_texts() if legend else ())) if each.get_text()]
    paper = to_hex(figure.get_facecolor())
    for each in words:
        # Readable from the last row; WCAG 2.1, success criterion 1.4.3: contrast of 4.5.
        assert each.get_fontsize() >= 18, each.get_text()
        assert contrast(to_hex(each.get_color()), paper) >= 4.5, each.get_text()
    for each in (*ax.texts, ax._left_title):
        box = each.get_window_extent()
        assert box.x0 >= 0 and box.x1 <= 1600 and box.y0 >= 0 and box.y1 <= 900, each.get_text()
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("name", MADE_BY_SVG)
def test_slides_of_what_is_svg_by_itself(name):
    for theme, paper in (("light", "#ffffff"), ("dark", "#111111")):
        svg = STILLS[name].svg(theme)
        tree = ET.fromstring(svg)
        assert tree.get("viewBox") == "0 0 1600 900" and "var(" not in svg
        assert tree.get("aria-label") == STILLS[name].alternative
        assert f".lk-svg .back{{fill:{paper}}}" in svg
        inner = next(node for node in tree.iter() if node.tag.endswith("svg") and node.get("x"))
        scale = float(inner.get("width")) / float(inner.get("viewBox").split()[2])
        sizes = {float(each) for each in re.findall(r'style="font-size:([\d.]+)px', svg)} | {15.0}
        assert min(sizes) * scale * 72 / 100 >= 18
        ink = re.search(r"\.lk-svg text\{fill:(#\w+)", svg)[1]
        assert contrast(ink, paper) > 7


@pytest.mark.parametrize("name", STILLS)
def test_words_of_the_pictures(name):
    still = STILLS[name]
    assert len(still.alternative.split()) <= 60 and still.caption[-1] in ".?"
    assert 1 <= int(still.lesson) <= 12
    assert still.rows and all(len(row) == len(still.head) for row in still.rows)
    assert not re.search(r"None|nan|inf\b", f"{still.alternative} {still.rows}")


def test_every_part_of_the_course_has_a_picture():
    assert {int(still.lesson) for still in STILLS.values()} == set(range(1, 13))


def test_words_are_true():
    words = {name: still.alternative for name, still in STILLS.items()}
    # Ride-through by hand: 1.5 m2 x 0.24 m / 30 L/s = 12 s.
    assert "after 12 s" in words["level_shut_valve"]
    gap_ms = int(re.search(r"held for (\d+) ms", words["takeover"]).group(1))
    assert 175 <= gap_ms <= 285  # the budget of the lessons' settings
    # By hand: 4 / 60 004; exp(-8760 / 60 000) and exp(-1); 17 520 / ln 10.
    assert "6.666e-05" in words["two_states_in_time"]
    assert "86.4 %" in words["survival"] and "36.8 %" in words["survival"]
    assert "7\u202f609 h" in words["mtbf_limits"]
    assert "All lamps dark: TF1." in words["dark_panel"] and "Broken" not in words["dark_panel"]


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("figures")
    said = []
    files = write_figures(folder, say=said.append)
    return folder, files, said


def test_each_picture_has_its_files(written):
    folder, files, said = written
    kinds = ("md", "png", "svg") if png_of("<svg xmlns='http://www.w3.org/2000/svg'/>") else ("md", "svg")
    wanted = {f"{name}.{kind}" for name in STILLS for kind in kinds}
    wanted |= {f"{name}.png" for name in DRAWN}
    assert {file.name for file in files} == wanted == {file.name for file in folder.iterdir()}
    assert set(map(str, files)) <= set(said)
    for file in folder.glob("*.svg"):
        ET.parse(file)
    assert all(imread(file).shape[:2] == (900, 1600) for file in folder.glob("*.png"))


def test_the_stored_pictures_are_what_the_code_draws(written):
    fresh, stored = written[0], ROOT / "figures"
    again = "make the pictures anew: workbook figures"
    # The panel is taken from the screen by tests.panel_picture, the house drawn by tests.house.
    have = {file.name for file in stored.glob("*.*")
            if not file.stem.endswith("-dark")} - {".gitignore", "main_panel.png", "house.svg"}
    assert have == {f"{name}.{kind}" for name in STILLS for kind in ("md", "png", "svg")}, again
    for name in STILLS:
        assert (fresh / f"{name}.md").read_bytes() == (stored / f"{name}.md").read_bytes(), again
        ours, theirs = ((folder / f"{name}.svg").read_text("utf-8") for folder in (fresh, stored))
        if name in MADE_BY_SVG or made_by(ours) == made_by(theirs):
            assert ours == theirs, again
        else:  # another matplotlib puts points elsewhere, but not other words
            assert written_in(ours) == written_in(theirs), again
        png = imread(stored / f"{name}.png")
        assert png.shape[:2] == (900, 1600)
        # What the converter draws depends on the fonts; what matplotlib draws on its own only.
        if name in DRAWN and made_by(ours) == made_by(theirs):
            np.testing.assert_array_equal(png, imread(fresh / f"{name}.png"), err_msg=again)


def made_by(svg):
    return re.search(r"Matplotlib v[\d.]+|$", svg)[0]


def written_in(svg):
    tree = ET.fromstring(svg)
    return sorted(node.text for node in tree.iter("{http://www.w3.org/2000/svg}text") if node.text)


def test_files_are_the_same_each_time(tmp_path, written):
    names = ["histories", "survival", "power_cut"]
    for file in write_figures(tmp_path, names):
        assert file.read_bytes() == (written[0] / file.name).read_bytes()


def test_both_themes(tmp_path, written):
    files = write_figures(tmp_path, ["survival", "plant"], themes=("dark", "light"))
    names = {file.name for file in files}
    assert {"survival-dark.png", "survival-dark.svg", "plant-dark.svg", "survival.png"} <= names
    assert imread(tmp_path / "survival-dark.png")[0, 0, :3] == pytest.approx([17 / 255] * 3)
    assert imread(tmp_path / "survival.png")[0, 0, :3] == pytest.approx([1, 1, 1])
    with pytest.raises(ValueError, match=r"themes must be of light, dark, got \['grey'\]"):
        write_figures(tmp_path, themes=("grey",))


def test_without_the_converter_the_rest_is_made(tmp_path, monkeypatch):
    monkeypatch.setattr(figure_writing, "png_of", lambda svg: None)
    said = []
    files = write_figures(tmp_path, ["plant"], say=said.append)
    assert [file.name for file in files] == ["plant.md", "plant.svg"]
    assert any("not made, for this one needs resvg-py" in line for line in said)


def test_pictures_can_be_chosen(tmp_path):
    with pytest.raises(ValueError, match="names must be of survival, .*, got 'cat'"):
        write_figures(tmp_path, ["cat"])
    file = write_picture(lambda ax: plot_class(class_of(M04=3), ax), tmp_path / "class.png")
    assert imread(file).shape[:2] == (900, 1600)
    with pytest.raises(ValueError, match="file must end in .png or .svg, got"):
        write_picture(lambda ax: ax, tmp_path / "class.pdf")


@pytest.mark.parametrize("name", ["elderhang", "mirelow"])
def test_pictures_of_other_plants(name):
    plant = load_plant(name)
    drawn, missing = stills(plant), left_out(plant)
    assert [*drawn.keys() | missing.keys()] and set(drawn) | set(missing) == set(STILLS)
    assert missing["takeover"] == "this plant has no pair of controllers"
    assert missing["level_shut_valve"] == "this plant has no tank"
    assert {"survival", "next_failures", "plant", "variants"} <= set(drawn)
    for still in drawn.values():
        assert len(still.alternative.split()) <= 60 and still.rows
        if still.draw:
            assert labelled(still.draw(sheet().add_subplot()))
        else:
            ET.fromstring(still.svg("light"))
    assert plant.name in drawn["plant"].caption


def test_a_plant_of_two_parts_is_told_what_it_has_no_picture_of(tmp_path):
    plant = plant_of(part("A"), part("B"), needs=any_of("A", "B"))
    missing = left_out(plant)
    assert missing["next_failures"] == "no single failure stops run"
    assert missing["power_cut"] == "this plant has no controller"
    assert missing["variants"] == "this plant has no costs"
    assert missing["tornado"] == "this plant has no costs or no variants"
    assert stills(plant)["plant"].alternative == "Plant picture. No controller. Nothing broken."
    said = []
    write_figures(tmp_path, plant=plant, say=said.append)
    assert "power_cut: not made, for this plant has no controller" in said


@pytest.mark.parametrize("file", sorted((ROOT / "tests" / "plant_files").glob("*.toml")),
                         ids=lambda file: file.stem)
def test_every_plant_file_is_drawn(file):
    """A ring, two sync cables, a pair of servers, a single controller, panels at switches."""
    plant = load_plant(file)
    picture = plant_svg(plant, Rig(plant).snapshot())
    for name, each in plant.parts.items():
        if each.kind in ("controller", "rack", "panel", "switch"):
            assert f">{name}<" in picture, name


def test_names_of_a_plant_are_text_in_the_file_beside_a_picture():
    still = Still("04", "A <b>mill</b>.", "Words.", ("a|b", "c"), (("<script>", "[x](y)"),))
    lines = still.side_text("one", "of <i>mine</i>").splitlines()
    assert lines[2] == r"Lesson 04. A \<b>mill\</b>." and lines[6] == r"*Data:* of \<i>mine\</i>"
    assert lines[8:] == [r"| a\|b | c |", "|---|---|", r"| \<script> | \[x](y) |"]
