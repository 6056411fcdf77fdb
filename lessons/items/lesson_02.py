"""Lesson 02, chains and shared parts: which parts stop the plant alone?"""

import functools
import math
from types import SimpleNamespace

from labkit.availability.blocks import Block
from labkit.availability.parts import Part, at_least, parallel, series
from labkit.markov.pair import redundant_pair
from labkit.plant.plant import load_plant
from lessons.exercises.item_file import read_items
from lessons.items.rigs import rig
from lessons.pictures.block_diagrams import block_diagram, block_words, ways_diagram

CONTROL, EYE = "control kept", "see and act"


def _minutes(block: Block) -> float:
    """Down time of a block in minutes a year."""
    return float(block.downtime_h_per_year * 60)


OUT = {"KF1": "no power", "WF1.10": "cut", "WF9": "cut", "TB1": "off", "TF1": "no power"}


def _works(function: str, part: str) -> bool:
    """Whether the panel says that a function works, with one part of the plant as built out."""
    return rig(f"{part}: {OUT[part]}", 10.0).plant_state().works[function]


def _said(part: str) -> str:
    states = [f"{f} {'works' if _works(f, part) else 'is lost'}" for f in (CONTROL, EYE)]
    return f"{part} {OUT[part]}: {', '.join(states)}"


def _group_of(numbers: SimpleNamespace) -> dict[str, object]:
    count, needed = numbers.group
    parts = [
        Part(str(i), mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h) for i in range(count)
    ]
    share = parts[0].unavailability
    return {
        "count": count, "needed": needed, "share": share, "least": count - needed + 1,
        "patterns": math.comb(count, needed - 1),
        "min": _minutes(at_least(needed, *parts)), "one_min": _minutes(parts[0]),
        "all_min": _minutes(series(*parts)),
        "first": "All of them have" if needed == count
        else "At least 1 of them has" if needed == 1 else f"At least {needed} of them have",
    }


SHAPES = {
    "A-(B|C)-D": (
        lambda a, b, c, d: series(a, parallel(b, c), d), ("B", "BC", "AB", "AD"),
    ),
    "(A-B|C)-D": (
        lambda a, b, c, d: series(parallel(series(a, b), c), d), ("AB", "C", "AC", "CD"),
    ),
    "(A|B)-(C|D)": (
        lambda a, b, c, d: series(parallel(a, b), parallel(c, d)), ("CD", "AC", "B", "ABC"),
    ),
    "A-B-(C|D)": (
        lambda a, b, c, d: series(a, b, parallel(c, d)), ("C", "AC", "AB", "B"),
    ),
    "(A-B|C-D)": (
        lambda a, b, c, d: parallel(series(a, b), series(c, d)), ("AB", "ABC", "D", "AD"),
    ),
}
PLACES = ("one", "two", "three", "four")


def _shaped(numbers: SimpleNamespace) -> dict[str, object]:
    names = dict(zip("ABCD", numbers.names, strict=True))
    build, letters = SHAPES[numbers.shape]
    block = build(*(Part(names[key], mtbf_h=50_000, mttr_h=5) for key in "ABCD"))
    named = [[names[key] for key in some] for some in letters]
    sets = dict(zip(PLACES, named, strict=True))
    cuts = block.minimal_cut_sets()

    def reply(some: list[str]) -> str:
        down = " and ".join(some)
        if frozenset(some) in cuts:
            return f"with {down} down no way leads through, and each of them is needed for that."
        if any(cut < frozenset(some) for cut in cuts):
            return (
                f"With {down} down 0 ways are open. Repair one of them on paper: after which repair "
                "are there still 0?"
            )
        return f"With {down} down, follow each way to its end. How many are open: 0, or more?"

    return {
        "block": block, "words": block_words(block),
        "right": {place for place, some in sets.items() if frozenset(some) in cuts},
        **{f"said_{place}": " and ".join(some) for place, some in sets.items()},
        **{f"reply_{place}": reply(some) for place, some in sets.items()},
        "listed": "; ".join(" and ".join(sorted(cut)) for cut in cuts),
    }


LISTED = ("KF1", "TB1", "GB1", "BL1", "TF1")


@functools.cache
def _hall() -> dict[str, object]:
    """What the list draws on; the plant has one form here, so it is read once."""
    parts = load_plant().parts
    blocks = {d: Part(d, mtbf_h=parts[d].mtbf_h, mttr_h=parts[d].mttr_h) for d in LISTED}
    return {
        "blocks": blocks,
        "diagram": block_words(ways_diagram(load_plant(), CONTROL)),
        "worst": max(
            (d for d in LISTED if not load_plant().state((d,)).works[CONTROL]),
            key=lambda d: _minutes(blocks[d])
        ),
    }


LESSON = read_items(__file__, globals())
