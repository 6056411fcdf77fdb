"""Colours stand apart enough, in both themes, and the pieces of SVG are well formed."""

import math
import re
import xml.etree.ElementTree as ET

import pytest

from lessons.exercises import control_frame
from lessons.panels import frame, plant_panel
from lessons.pictures import boards, look, svg
from lessons.pictures.look import LAMP_COLOURS, PAGE, PLATE
from tests.contrast import contrast

# WCAG 2.1: success criteria 1.4.3 (text) and 1.4.11 (graphics).
TEXT, MARKS = 4.5, 3.0

THEMES = {"light": 0, "dark": 1}
PAGE_TEXTS = ["ink", "quiet", "fault", "warn", "good"]
SHAPES = ["bar", "ring", "broken ring", "triangle", "square", "dot", "cross"]
PAGE_MARKS = ["wire", "idle", "curve", "curve-2", "rule", "fault"]


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        # WCAG 2.1, definition of contrast ratio: 1 to 21.
        ("#000000", "#ffffff", 21.0),
        ("#808080", "#808080", 1.0),
        # WebAIM, "Contrast and Color Accessibility": #777777 on white fails 4.5 narrowly with
        # 4.48, #767676 passes with 4.54 (from memory).
        ("#777777", "#ffffff", 4.48),
        ("#767676", "#ffffff", 4.54),
    ],
)
def test_contrast_is_that_of_the_guidelines(one, other, expected):
    assert contrast(one, other) == pytest.approx(expected, abs=5e-3)  # two decimals are told
    assert contrast(other, one) == contrast(one, other)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("ground", ["paper", "panel"])
@pytest.mark.parametrize("name", PAGE_TEXTS)
def test_text_on_the_page(name, ground, theme):
    side = THEMES[theme]
    assert contrast(PAGE[name][side], PAGE[ground][side]) >= TEXT


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", PAGE_MARKS)
def test_marks_on_the_page(name, theme):
    side = THEMES[theme]
    assert contrast(PAGE[name][side], PAGE["paper"][side]) >= MARKS


@pytest.mark.parametrize("ground", ["plate", "well"])
@pytest.mark.parametrize("name", ["plate-text", "plate-quiet"])
def test_text_on_plates(name, ground):
    assert contrast(PLATE[name], PLATE[ground]) >= TEXT


@pytest.mark.parametrize("ground", ["plate", "well"])
@pytest.mark.parametrize("colour", [*LAMP_COLOURS.values(), PLATE["plate-off"]])
def test_lamps_on_plates(colour, ground):
    assert contrast(colour, PLATE[ground]) >= MARKS


@pytest.mark.parametrize("theme", THEMES)
def test_edges_of_plates_and_tags(theme):
    paper = PAGE["paper"][THEMES[theme]]
    assert contrast(PLATE["plate-edge"], paper) >= MARKS
    assert contrast(PLATE["tag-text"], PLATE["tag"]) >= TEXT
    # The tag for what is only disturbed: dark words on the yellow of the lamps.
    assert contrast(PLATE["plate"], LAMP_COLOURS["yellow"]) >= TEXT


def test_style_uses_only_colours_that_are_there():
    rules = "".join(look.style_sheet(each.__file__)
                    for each in (svg, boards, frame, plant_panel, control_frame))
    used = set(re.findall(r"var\(--lk-([a-z0-9-]+)\)", rules))
    known = {*PAGE, *PLATE, *(f"lamp-{name}" for name in LAMP_COLOURS)}
    assert used <= known
    # Nothing but the font is taken from the page, whose colours are not known here.
    assert set(re.findall(r"var\((--jp-[a-z0-9-]+)", rules)) == {"--jp-ui-font-family"}


def test_flashing_keeps_to_the_limit_and_can_be_stopped():
    # WCAG 2.1, 2.3.1: at most three flashes in a second. The lamps have at most two.
    period_s = float(re.search(r"animation:lk-flash ([0-9.]+)s infinite", svg.STYLE).group(1))
    assert 0 < 1 / period_s <= 2
    assert "prefers-reduced-motion:reduce" in svg.STYLE
    assert ".lk-still .lk-flash{animation:none}" in svg.STYLE


@pytest.mark.parametrize("shape", SHAPES)
def test_lit_and_dark_lamps_differ_by_more_than_colour(shape):
    lit = ET.fromstring(svg.lamp(0, 0, shape, "white", lit=True))
    dark = ET.fromstring(svg.lamp(0, 0, shape, "white", lit=False))
    # A dark lamp is a thin outline; a lit one is filled, or has a stroke nearly three times as
    # wide.
    open_shape = " hollow" if svg.is_hollow(shape) else ""
    assert (lit.get("class"), dark.get("class")) == (f"lamp white{open_shape}",
                                                     f"lamp off{open_shape}")
    assert ".lamp.off .s{fill:none;stroke:var(--lk-plate-off);stroke-width:1.4}" in svg.STYLE
    assert ".lamp.hollow .s{fill:none;stroke-width:3}" in svg.STYLE


def test_shapes_differ():
    drawn = {svg.lamp(0, 0, shape, "white", lit=True)
             for shape in SHAPES}
    assert len(drawn) == len(SHAPES)


def test_a_broken_ring_has_four_arcs():
    """Each is two thirds of its quarter, 60 degrees, so that its chord is as long as the radius."""
    arcs = re.findall(r"M(\S+),(\S+)A(\S+),\S+ 0 0 1 ([^,]+),([^M]+)",
                      svg.shape("broken ring", 0, 0, 8))
    assert len(arcs) == 4
    for x0, y0, radius, x1, y1 in (map(float, arc) for arc in arcs):
        assert abs(math.dist((x0, y0), (x1, y1)) - radius) < 0.15
        assert abs(math.hypot(x0, y0) - radius) < 0.1


def test_unknown_shape_is_refused():
    with pytest.raises(ValueError, match="shape must be one of bar, .*, got 'star'"):
        svg.lamp(0, 0, "star", "white", lit=True)


def test_words_that_are_markup_stay_words():
    words = 'level < 0.6 m & "rising"'
    tree = ET.fromstring(svg.document([svg.text(0, 0, words)], 10, 10, words))
    assert tree.get("aria-label") == words
    assert tree.find("{http://www.w3.org/2000/svg}text").text == words


def test_letters_are_measured_at_least_as_wide_as_a_wide_font_has_them():
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    words = ["KF1 controller 1: no power", "outputs in fail state", "WMMW WRITER", "ACTIVE",
             "rack of the header tank and UV", "24 V supply of both controllers", "WF1.10"]
    for bold in (False, True):
        font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
        for each in words:
            drawn = TextPath((0, 0), each, size=15, prop=font).get_extents().x1
            assert drawn <= svg.text_width(each, 15, bold=bold) * 1.02, each


def test_a_sheet_is_one_line_without_its_comments(tmp_path):
    (tmp_path / "thing.css").write_text(
        "/* two\n   lines */\n.a > .b, .c :focus {\n  margin: 0 1px;\n  color: var(--lk-ink);\n}\n"
        "@media (width: 9px) { .a { top: 0; } }\n")
    assert look.style_sheet(str(tmp_path / "thing.py")) == (
        ".a>.b,.c :focus{margin:0 1px;color:var(--lk-ink)}@media (width:9px){.a{top:0}}")


def test_the_rig_keeps_its_own_look_below_another_panel():
    """Each panel brings the frame's rules once more, behind those of a rig that stands above it."""

    def named(rules, selector):
        found = re.findall(r"(?:^|\})" + re.escape(selector) + r"\{([^}]*)\}", rules)
        return {each.partition(":")[0] for rule in found for each in rule.split(";")}

    shared = named(frame.STYLE, ".lk-panel") & named(plant_panel.STYLE, ".lk-panel.lk-rig")
    assert "padding" in shared
    assert not named(frame.STYLE, ".lk-panel") & named(plant_panel.STYLE, ".lk-rig")


def test_no_style_rule_stands_in_a_python_string():
    from tests.browser import ROOT

    rule = re.compile(r"[\"'](?:\.|@)[\w. -]+\{+[a-z-]+:")
    found = [path.name for path in (ROOT / "lessons").rglob("*.py") if rule.search(path.read_text("utf-8"))]
    assert found == []
