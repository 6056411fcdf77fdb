"""Block diagrams as SVG text, the line of words for each of them, and parts to draw them with."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping

from labkit.arguments import one_of
from labkit.availability.blocks import Block, Gate
from labkit.availability.parts import Part, parallel, series
from labkit.plant.plant import Plant
from labkit.plant.plant_data import racks_of
from lessons.pictures.svg import captioned, escaped
from lessons.pictures.two_states_picture import Picture

WIDTH = 880
# One box, the wire between two boxes, the fan before and behind branches, the gap between them.
BOX, TALL, WIRE, FAN, GAP = 88, 40, 20, 22, 12
LETTER = 9.4


def plain_parts(plant: Plant) -> dict[str, Part]:
    """Return the parts of a plant as independent parts, to draw diagrams by hand.

    Parameters
    ----------
    plant : Plant
        Its parts, without what twins have in common; `Plant.block` has that too.

    Returns
    -------
    dict of str to Part
        By designation, in the order of the file.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> plain_parts(load_plant())["BL1"].mtbf_h
    150000.0
    """
    return {
        name: Part(name, mtbf_h=part.mtbf_h, mttr_h=part.mttr_h)
        for name, part in plant.parts.items()
    }


def ways_diagram(plant: Plant, function: str) -> Block:
    """Return the block diagram of a function that is reached by way of the controllers.

    Parameters
    ----------
    plant : Plant
        Each controller has a way of its own to each rack, and one controller is enough.
    function : str
        One of its functions.

    Returns
    -------
    Block
        The ways side by side, in series with every part that stops the function alone; of
        independent parts, without what twins have in common.

    Raises
    ------
    ValueError
        If something is double that is no part of these ways.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> block_words(ways_diagram(load_plant(), "control kept"))[-42:]
    'B)) - TB1 - GB1 - KF10 - KF20 - KF30 - BL1'
    """
    part = plain_parts(plant)
    wanted = plant.functions_counted[one_of("function", function, plant.functions_counted)]
    alone = [name for name in part if plant.condition(function, [name]) is False]
    racks = sorted({rack for racks in racks_of(wanted) for rack in racks}, key=list(part).index)
    ways = []
    for unit in plant.leading(wanted) if racks else ():
        line = [name for rack in racks for name in plant.ways(unit, rack)[0]]
        ways.append([part[name] for name in (unit, *line) if name not in alone])
    shared = [part[name] for name in alone]
    drawn = {each.name for each in itertools.chain(shared, *ways)}
    left_out = [name for name in plant.block(function).parts if name in part and name not in drawn]
    if left_out:
        raise ValueError(f"plant must be double in its ways only, got {left_out[0]} beside them")
    beside = [parallel(*(series(*way) for way in ways))] if ways and all(ways) else []
    return series(*beside, *shared)


def _named(block: Block) -> str:
    """Return what stands in the box of a part, or of a state of a chain that is wanted."""
    units = getattr(getattr(block, "chain", None), "name", "").split("+")
    if len(units) < 2:
        return getattr(block, "name", repr(block))
    failed = " ".join(map(str, block.states))
    return f"{' or '.join(unit for unit in units if unit not in failed)} leads"


def block_words(block: Block) -> str:
    """Say a block diagram in one line.

    Parameters
    ----------
    block : Block
        Of parts in series, in parallel, or k out of n.

    Returns
    -------
    str
        A dash for series, a stroke for parallel, and "2 of" before brackets. A way of several
        parts beside another one stands in brackets of its own.

    >>> from labkit.availability.parts import Part, at_least, parallel, series
    >>> a, b, c = (Part(name, mtbf_h=500, mttr_h=4) for name in "ABC")
    >>> block_words(series(a, parallel(b, c)))
    'A - (B | C)'
    >>> block_words(parallel(series(a, b), c))
    '((A - B) | C)'
    >>> block_words(at_least(2, a, b, c))
    '2 of (A | B | C)'
    """
    if not isinstance(block, Gate):
        return _named(block)
    if _in_series(block):
        return " - ".join(map(block_words, block.blocks))
    inner = " | ".join(
        f"({block_words(each)})" if _in_series(each) else block_words(each)
        for each in block.blocks
    )
    return f"{f'{block.needed} of ' if block.needed > 1 else ''}({inner})"


def _in_series(block: Block) -> bool:
    return isinstance(block, Gate) and block.needed == len(block.blocks)


def _label(gate: Gate) -> float:
    """Width of the words "2 of 3" behind branches, where more than one is needed."""
    return 62.0 if gate.needed > 1 else 0.0


def _size(block: Block) -> tuple[float, float]:
    """Return what a block takes: its width, and as much of its height above its wire as below."""
    if not isinstance(block, Gate):
        return max(BOX, LETTER * len(block_words(block)) + 18), TALL / 2
    widths, halves = zip(*map(_size, block.blocks))
    if _in_series(block):
        return sum(widths) + WIRE * (len(widths) - 1), max(halves)
    return max(widths) + 2 * FAN + _label(block), sum(halves) + GAP * (len(halves) - 1) / 2


def _draw(block: Block, x: float, y: float, marked: Collection[str]) -> str:
    """Draw a block whose wire comes in at (x, y)."""
    width, half = _size(block)
    if not isinstance(block, Gate):
        name = block_words(block)
        hit = name in marked
        kind = ' class="hit"' if hit else ""
        bar = f'<path class="bar" d="M{x:g} {y + 24:g}h{width:g}"/>' if hit else ""
        return (
            f'<rect{kind} x="{x:g}" y="{y - 20:g}" width="{width:g}" height="40" rx="4"/>'
            f'<text x="{x + width / 2:g}" y="{y + 6:g}">{escaped(name)}</text>{bar}'
        )
    if _in_series(block):
        pieces = []
        for number, inner in enumerate(block.blocks):
            if number:
                pieces.append(f'<path d="M{x:g} {y:g}h{WIRE}"/>')
                x += WIRE
            pieces.append(_draw(inner, x, y, marked))
            x += _size(inner)[0]
        return "".join(pieces)
    left, right = x + FAN / 2, x + width - FAN / 2 - _label(block)
    top = y - half
    behind = FAN / 2 + _label(block)
    middles, pieces = [], [f'<path d="M{x:g} {y:g}H{left:g}M{right:g} {y:g}h{behind:g}"/>']
    for inner in block.blocks:
        width, half = _size(inner)
        middle = top + half
        begin = x + FAN
        pieces.append(f'<path d="M{left:g} {middle:g}H{begin:g}M{begin + width:g} {middle:g}'
                      f'H{right:g}"/>')
        pieces.append(_draw(inner, begin, middle, marked))
        middles.append(middle)
        top += 2 * half + GAP
    pieces.append(f'<path d="M{left:g} {middles[0]:g}V{middles[-1]:g}'
                  f'M{right:g} {middles[0]:g}V{middles[-1]:g}"/>')
    if block.needed > 1:
        words = f"{block.needed} of {len(block.blocks)}"
        pieces.append(f'<rect x="{right + 4:g}" y="{y - 15:g}" width="58" height="30" rx="15"/>'
                      f'<text x="{right + 33:g}" y="{y + 6:g}">{words}</text>')
    return "".join(pieces)


def _rows(block: Block) -> list[Block]:
    """Break a series that is wider than a page into rows."""
    if not _in_series(block):
        return [block]
    rows, row, used = [], [], 0.0
    for inner in block.blocks:
        width = _size(inner)[0] + WIRE
        if row and used + width > WIDTH - 4 * WIRE:
            rows.append(row)
            row, used = [], 0.0
        row.append(inner)
        used += width
    rows.append(row)
    return [Gate(len(row), tuple(row)) if len(row) > 1 else row[0] for row in rows]


def block_diagram(block: Block, *, marked: Collection[str] = ()) -> Picture:
    """Draw a block diagram: the function is there while a way leads through from left to right.

    Parameters
    ----------
    block : Block
        Of parts in series, in parallel, or k out of n.
    marked : collection of str
        Names of parts to be marked by a thick frame and a bar below.

    Returns
    -------
    Picture
        A long series is broken into rows.

    Examples
    --------
    >>> from labkit.availability.parts import Part, series
    >>> a, b = (Part(name, mtbf_h=500, mttr_h=4) for name in "AB")
    >>> block_diagram(series(a, b), marked=["B"])
    Block diagram: A - B. Marked: B.
    """
    words = f"Block diagram: {block_words(block)}."
    if marked:
        words += f" Marked: {', '.join(sorted(marked))}."
    rows = _rows(block)
    sizes = list(map(_size, rows))
    width = max(wide for wide, _ in sizes) + 4 * WIRE
    pieces, y = [], 12.0
    for number, (row, (wide, half)) in enumerate(zip(rows, sizes, strict=True)):
        y += half
        begin = 2 * WIRE
        pieces.append(f'<path d="M{WIRE} {y:g}H{begin}"/>')
        if not number:
            pieces.append(f'<circle class="end" cx="{WIRE}" cy="{y:g}" r="5"/>')
        pieces.append(_draw(row, begin, y, marked))
        end = begin + wide
        if number < len(rows) - 1:
            down = y + half + 14
            below = down + 14 + sizes[number + 1][1]
            pieces.append(f'<path d="M{end:g} {y:g}h{WIRE}V{down:g}H{WIRE}V{below:g}"/>')
            y = down + 14
        else:
            pieces.append(f'<path d="M{end:g} {y:g}h{WIRE}"/>')
            pieces.append(f'<circle class="end" cx="{end + WIRE:g}" cy="{y:g}" r="5"/>')
            y += half
    return Picture(captioned(__file__, "lk-blocks", f"{width:g} {y + 14:g}", words, pieces,
                             wide=min(width, WIDTH)), words)


def block_diagrams(blocks: Mapping[str, Block]) -> Picture:
    """Draw several block diagrams below one another, each under its words.

    Parameters
    ----------
    blocks : mapping of str to Block
        What is said above each diagram, and the diagram.

    Returns
    -------
    Picture

    Examples
    --------
    >>> from labkit.availability.parts import Part, parallel, series
    >>> a, b = (Part(name, mtbf_h=500, mttr_h=4) for name in "AB")
    >>> block_diagrams({"both needed": series(a, b), "one is enough": parallel(a, b)})
    Both needed. Block diagram: A - B.
    One is enough. Block diagram: (A | B).
    """
    pieces, words = [], []
    for said, block in blocks.items():
        picture = block_diagram(block)
        pieces.append(f'<p style="margin:10px 0 0">{escaped(said)}</p>{picture.svg}')
        words.append(f"{said[:1].upper()}{said[1:]}. {picture.words}")
    return Picture("".join(pieces), "\n".join(words))
