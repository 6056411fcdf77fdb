"""Block diagrams as pictures and words."""

import itertools
import random
import re
import xml.etree.ElementTree as ET

import pytest

from labkit.availability.blocks import Gate
from labkit.availability.parts import Part, at_least, parallel, series
from labkit.plant.plant import load_plant
from lessons.pictures.block_diagrams import (
    WIDTH,
    block_diagram,
    block_diagrams,
    block_words,
    drawn_once,
    plain_parts,
    ways_diagram,
)

A, B, C, D = (Part(name, mtbf_h=500, mttr_h=4) for name in "ABCD")


@pytest.mark.parametrize(
    ("block", "words"),
    [
        (A, "A"),
        (series(A, B), "A - B"),
        (parallel(A, B), "(A | B)"),
        (series(A, parallel(B, C), D), "A - (B | C) - D"),
        (series(at_least(2, A, B, C), D), "2 of (A | B | C) - D"),
        (parallel(series(A, B), series(C, D)), "((A - B) | (C - D))"),
    ],
)
def test_words_and_picture_say_the_same(block, words):
    assert block_words(block) == words
    picture = block_diagram(block)
    assert repr(picture) == f"Block diagram: {words}."
    root = ET.fromstring(picture.svg)
    assert root.get("role") == "img" and root.get("aria-label") == repr(picture)
    drawn = re.findall(r"<text[^>]*>([^<]+)</text>", picture.svg)
    assert sorted(word for word in drawn if " of " not in word) == sorted(re.findall("[A-D]", words))


def test_several_diagrams_stand_below_one_another_under_their_words():
    picture = block_diagrams({"a < b": series(A, B), "one is enough": parallel(A, B)})
    assert repr(picture).splitlines() == [
        "A < b. Block diagram: A - B.", "One is enough. Block diagram: (A | B).",
    ]
    root = ET.fromstring(f"<div>{picture.svg}</div>")
    assert [each.tag.rpartition("}")[2] for each in root] == ["p", "svg", "p", "svg"]
    assert [each.text for each in root.findall("p")] == ["a < b", "one is enough"]


def test_marked_parts_differ_by_more_than_colour():
    picture = block_diagram(series(A, parallel(B, C)), marked=["A"])
    assert picture.svg.count('class="hit"') == picture.svg.count('class="bar"') == 1
    assert repr(picture).endswith("Marked: A.")


def random_block(draw, depth, names):
    """Build a block of parts that may stand in several places."""
    if depth == 0 or draw.random() < 0.3:
        return names[draw.randrange(len(names))]
    inner = [random_block(draw, depth - 1, names) for _ in range(draw.randint(2, 7))]
    return Gate(draw.choice([1, len(inner), draw.randint(1, len(inner))]), tuple(inner))


def boxes_in(element, x=0.0, y=0.0):
    """Yield place and size of each box in the picture's own units, whatever group it stands in."""
    if moved := re.match(r"translate\((\S+) (\S+)\)", element.get("transform", "")):
        x, y = x + float(moved[1]), y + float(moved[2])
    if element.get("rx") == "4":
        left, top, width, height = (float(element.get(name)) for name in ("x", "y", "width", "height"))
        yield x + left, y + top, width, height
    for inner in element:
        yield from boxes_in(inner, x, y)


LONG = [Part(f"part {i}", mtbf_h=500 + i, mttr_h=4) for i in range(20)]
WORDS = [Part(name, mtbf_h=500, mttr_h=4) for name in (
    "KF10A+KF10B+KF20A+KF20B common cause", "a" * 60, "pump: no start by hand, nor from the panel")]


@pytest.mark.parametrize("block", [
    series(*LONG, parallel(A, B), at_least(2, C, D, LONG[0])),
    parallel(series(*LONG), series(*reversed(LONG))),
    series(A, parallel(series(*LONG[:12], at_least(2, A, series(*LONG[12:]), B)), C)),
    series(at_least(12, *LONG), parallel(*LONG)),
    series(*WORDS, parallel(series(*WORDS), *WORDS)),
    *(random_block(random.Random(seed), 4, [*LONG, *WORDS]) for seed in range(30)),
], ids=lambda block: f"{len(block_words(block))} letters")
def test_no_box_lies_over_another_and_a_long_series_is_broken(block):
    picture = block_diagram(block)
    assert float(re.search(r'viewBox="0 0 (\d+)', picture.svg).group(1)) <= WIDTH + 100
    boxes = [*boxes_in(ET.fromstring(picture.svg))]
    assert len(boxes) == len(re.findall(r"[^-|()]+", re.sub(r"\d+ of |[()]", "", block_words(block))))
    for i, (x, y, width, height) in enumerate(boxes):
        for left, top, wide, tall in boxes[:i]:
            assert x >= left + wide or left >= x + width or y >= top + tall or top >= y + height


def test_a_box_is_wider_than_the_widest_of_its_words():
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    names = ("GP1+GP2+GP3 common", "WMMW 1000 mm", "KF1")
    svg = block_diagram(series(*(Part(name, mtbf_h=500, mttr_h=4) for name in names))).svg
    boxes = map(float, re.findall(r'width="([\d.]+)" height="[\d.]+" rx="4"', svg))
    for name, box in zip(names, boxes, strict=True):
        drawn = TextPath((0, 0), name, size=15, prop=FontProperties(family="DejaVu Sans"))
        assert drawn.get_extents().width + 12 <= box, name


@pytest.mark.parametrize("seed", range(30))
def test_drawn_once_is_the_same_function_of_its_parts(seed):
    """The sums of both agree, and no part stands beside itself in one series."""
    block = random_block(random.Random(seed), 4, LONG[:9])
    once = drawn_once(block)
    assert once.unavailability == pytest.approx(block.unavailability, rel=1e-12)
    assert set(map(frozenset, once.minimal_cut_sets())) == set(map(frozenset, block.minimal_cut_sets()))
    assert len(block_words(once)) <= len(block_words(block))


def test_names_are_escaped():
    ET.fromstring(block_diagram(series(Part("A&B", mtbf_h=1, mttr_h=1), B)).svg)


def test_plain_parts_are_those_of_the_file():
    plant = load_plant()
    parts = plain_parts(plant)
    assert list(parts) == list(plant.parts)
    assert (parts["KF10A"].mtbf_h, parts["KF10A"].mttr_h) == (220_000, 3)


@pytest.mark.parametrize("variant", ["V0", "V1"])
def test_the_diagram_of_the_hall_is_cut_by_what_stops_the_hall(variant):
    # The plant answers from its wiring; the diagram from its boxes. All sets of up to two parts.
    plant = load_plant(variant=variant)
    diagram = ways_diagram(plant, "control kept")
    cuts = diagram.minimal_cut_sets()
    names = sorted(diagram.parts)
    for broken in [*itertools.combinations(names, 1), *itertools.combinations(names, 2)]:
        cut = any(each <= set(broken) for each in cuts)
        assert cut != plant.state(broken).works["control kept"], broken


def test_a_plant_with_other_twins_is_refused():
    with pytest.raises(ValueError, match="double in its ways only, got TB1 beside them"):
        ways_diagram(load_plant(variant="V2"), "control kept")
