"""Block diagrams as SVG text, the line of words for each of them, and parts to draw them with."""

import itertools
import re
import textwrap
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from labkit.arguments import one_of
from labkit.availability.blocks import Block, Gate
from labkit.availability.parts import Part, parallel, series
from labkit.plant.plant import Plant
from labkit.plant.plant_data import racks_of
from labkit.wording import unbroken
from lessons.pictures.svg import captioned, escaped, text_width
from lessons.pictures.two_states_picture import Picture

WIDTH = 880
# One box, the wire between two boxes, the fan before and behind branches, the gap between them.
BOX, TALL, WIRE, FAN, GAP = 88, 40, 20, 22, 10
# Between two rows of a long series; one line more in a box; letters in a line.
BETWEEN, LINE, MOST_LETTERS = 20, 18, 20
FONT = 15
# More single parts beside one another than this stand in a frame, without a wire for each.
MOST_BRANCHES = 8


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
    >>> from labkit import load_plant
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
    >>> from labkit import load_plant
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

    >>> from labkit import Part, at_least, parallel, series
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


def drawn_once(block: Block) -> Block:
    """Return the same diagram with a part that all branches need before them, and not again inside.

    >>> from labkit import Part, parallel, series
    >>> a, b, c = (Part(name, mtbf_h=500, mttr_h=4) for name in "ABC")
    >>> block_words(drawn_once(parallel(series(a, c), series(b, c, c))))
    'C - (A | B)'
    >>> block_words(drawn_once(series(a, parallel(series(a, b), c))))
    'A - (B | C)'
    """
    row = _without(block, frozenset())
    return _all_of(row) if row else block


def _all_of(row: Sequence[Block]) -> Block:
    return row[0] if len(row) == 1 else Gate(len(row), tuple(row))


def _without(block: Block, working: frozenset[Block]) -> list[Block]:
    """Return the blocks in series that are still needed while these parts work; none if nothing is."""
    if not isinstance(block, Gate):
        return [] if block in working else [block]
    if _in_series(block):
        row: list[Block] = []
        for each in sorted(block.blocks, key=lambda inner: isinstance(inner, Gate)):
            row += [inner for inner in _without(each, working.union(row)) if inner not in row]
        # What a later branch brought before it may stand inside an earlier one.
        alone = {each for each in row if not isinstance(each, Gate)}
        if not alone <= working.union(block.blocks):
            again = Gate(len(row), tuple(row))
            if again != block:
                return _without(again, working)
        places = {each: at for at, each in enumerate(_leaves(block))}
        return sorted(row, key=lambda each: min(places[leaf] for leaf in _leaves(each)))
    ways = [_without(each, working) for each in block.blocks]
    needed = block.needed - ways.count([])
    ways = [way for way in ways if way]
    if needed <= 0:
        return []
    if needed == len(ways):
        return _without(Gate(needed, tuple(map(_all_of, ways))), working)
    common = [each for each in ways[0] if all(each in way for way in ways)]
    if not common:
        return [Gate(needed, tuple(map(_all_of, ways)))]
    apart = [[each for each in way if each not in common] for way in ways]
    needed -= apart.count([])
    if needed <= 0:
        return common
    known = working.union(each for each in common if not isinstance(each, Gate))
    return [*common, *_without(Gate(needed, tuple(map(_all_of, filter(None, apart)))), known)]


def _leaves(block: Block) -> Iterator[Block]:
    if isinstance(block, Gate):
        for each in block.blocks:
            yield from _leaves(each)
    else:
        yield block


@dataclass(frozen=True)
class _Drawing:
    """Hold a piece of a diagram, drawn from its left upper corner, and how large it is.

    `enters` and `leaves` are the heights of its wire at both ends, from its top.
    """

    svg: str
    width: float
    height: float
    enters: float
    leaves: float

    def at(self, x: float, y: float) -> str:
        """Return the piece with its corner at a place."""
        return f'<g transform="translate({x:g} {y:g})">{self.svg}</g>'


def _wire(data: str) -> str:
    return f'<path d="{data}"/>'


def _words(x: float, y: float, words: str) -> str:
    return f'<text x="{x:g}" y="{y:g}">{escaped(words)}</text>'


def _frame(width: float, height: float, radius: float, *, x: float = 0, y: float = 0, kind: str = "") -> str:
    return f'<rect{kind} x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="{radius:g}"/>'


def _box(name: str, marked: Collection[str]) -> _Drawing:
    # Long names are broken at blanks, then after signs, so that no box is wider than a few others.
    lines = [part for line in textwrap.wrap(unbroken(name), MOST_LETTERS, break_long_words=False)
             for part in _broken(line)]
    width = max(BOX, *(text_width(each, FONT) + 18 for each in lines))
    height = TALL + LINE * (len(lines) - 1)
    hit = name in marked
    pieces = [_frame(width, height, 4, kind=' class="hit"' if hit else ""),
              *(_words(width / 2, 26 + LINE * at, line) for at, line in enumerate(lines)),
              f'<path class="bar" d="M0 {height + 4:g}h{width:g}"/>' if hit else ""]
    return _Drawing("".join(pieces), width, height, height / 2, height / 2)


def _broken(line: str) -> list[str]:
    """Break a word that is longer than a box, after a sign where there is one."""
    found = [""]
    for piece in re.findall(r"[^+./_-]+[+./_-]*|[+./_-]+", line):
        for start in range(0, len(piece), MOST_LETTERS):
            cut = piece[start:start + MOST_LETTERS]
            if found[-1] and len(found[-1]) + len(cut) > MOST_LETTERS:
                found.append("")
            found[-1] += cut
    return found


def _row(blocks: Collection[_Drawing]) -> _Drawing:
    """Set blocks in a row, each where the wire leaves the one before."""
    tops, wire = [], 0.0
    for each in blocks:
        tops.append(wire - each.enters)
        wire = tops[-1] + each.leaves
    above, x, pieces = -min(tops), 0.0, []
    for each, its_top in zip(blocks, tops, strict=True):
        if x:
            pieces.append(_wire(f"M{x - WIRE:g} {above + its_top + each.enters:g}h{WIRE}"))
        pieces.append(each.at(x, above + its_top))
        x += each.width + WIRE
    height = above + max(its_top + each.height for its_top, each in zip(tops, blocks, strict=True))
    return _Drawing("".join(pieces), x - WIRE, height, above, above + wire)


def _stacked(blocks: Collection[_Drawing], gap: float) -> tuple[list[float], list[float], list[float], float]:
    """Set blocks below one another: their tops, where wires enter and leave, and the height of all."""
    *tops, end = itertools.accumulate((each.height + gap for each in blocks), initial=0.0)
    return (tops, [top + each.enters for top, each in zip(tops, blocks, strict=True)],
            [top + each.leaves for top, each in zip(tops, blocks, strict=True)], end - gap)


def _rows(blocks: Collection[_Drawing], room: float) -> _Drawing:
    """Set blocks in rows below one another, the wire led back from the end of each to the next."""
    rows: list[list[_Drawing]] = [[]]
    used = 0.0
    for each in blocks:
        if rows[-1] and used + each.width > room:
            rows.append([])
            used = 2.0 * WIRE
        rows[-1].append(each)
        used += each.width + WIRE
    if len(rows) == 1:
        return _row(rows[0])
    laid = list(map(_row, rows))
    tops, begins, ends, height = _stacked(laid, BETWEEN)
    width = max(each.width for each in laid) + 2 * WIRE
    pieces = [_wire(f"M0 {begins[0]:g}h{WIRE}"), *(each.at(WIRE, top) for each, top in zip(laid, tops)),
              _wire(f"M{WIRE + laid[-1].width:g} {ends[-1]:g}H{width:g}")]
    pieces += [_wire(f"M{WIRE + each.width:g} {end:g}h{WIRE}V{top - BETWEEN / 2:g}H0V{begin:g}h{WIRE}")
               for each, end, top, begin in zip(laid, ends, tops[1:], begins[1:])]
    return _Drawing("".join(pieces), width, height, begins[0], ends[-1])


def _branches(gate: Gate, room: float, marked: Collection[str]) -> _Drawing:
    # Width of the words "2 of 3" behind branches, where more than one is needed.
    label = 62.0 if gate.needed > 1 else 0.0
    inner = [_laid(each, room - 2 * FAN - label, marked) for each in gate.blocks]
    tops, begins, ends, height = _stacked(inner, GAP)
    width = max(each.width for each in inner) + 2 * FAN + label
    enters = min(max(height / 2, begins[0]), begins[-1])
    leaves = min(max(enters, ends[0]), ends[-1])
    left, right = FAN / 2, width - FAN / 2 - label
    pieces = [_wire(f"M0 {enters:g}H{left:g}M{right:g} {leaves:g}H{width:g}"
                    f"M{left:g} {begins[0]:g}V{begins[-1]:g}M{right:g} {ends[0]:g}V{ends[-1]:g}")]
    for each, top, begin, end in zip(inner, tops, begins, ends, strict=True):
        pieces += [_wire(f"M{left:g} {begin:g}H{FAN}M{FAN + each.width:g} {end:g}H{right:g}"),
                   each.at(FAN, top)]
    if label:
        pieces += [_frame(58, 30, 15, x=right + 4, y=leaves - 15),
                   _words(right + 33, leaves + 6, f"{gate.needed} of {len(gate.blocks)}")]
    return _Drawing("".join(pieces), width, height, enters, leaves)


def _many(gate: Gate, room: float, marked: Collection[str]) -> _Drawing:
    """Set many single parts, of which some are enough, side by side in one frame."""
    inner = [_box(_named(each), marked) for each in gate.blocks]
    wide, tall = max(each.width for each in inner) + GAP, max(each.height for each in inner) + GAP
    across = max(1, min(len(inner), int((room - GAP - 84) / wide)))
    width, height = across * wide + GAP + 84, -(-len(inner) // across) * tall + GAP
    pieces = [_frame(width, height, 14),
              _words(width - 42, height / 2 + 6, f"{gate.needed} of {len(inner)}"),
              *(each.at(GAP + at % across * wide, GAP + at // across * tall)
                for at, each in enumerate(inner))]
    return _Drawing("".join(pieces), width, height, height / 2, height / 2)


def _laid(block: Block, room: float, marked: Collection[str]) -> _Drawing:
    if not isinstance(block, Gate):
        return _box(_named(block), marked)
    if not _in_series(block):
        many = len(block.blocks) > MOST_BRANCHES and not any(
            isinstance(each, Gate) for each in block.blocks)
        return (_many if many else _branches)(block, room, marked)
    # Rows of one series are rows of one place: what is in series in it stands beside the others.
    blocks = [block]
    while any(map(_in_series, blocks)):
        blocks = [inner for each in blocks for inner in (each.blocks if _in_series(each) else [each])]
    narrower = [_laid(each, room - 2 * WIRE, marked) for each in blocks]
    return _rows(narrower, room)


def block_diagram(block: Block, *, marked: Collection[str] = (), width: float = WIDTH) -> Picture:
    """Draw a block diagram: the function is there while a way leads through from left to right.

    Parameters
    ----------
    block : Block
        Of parts in series, in parallel, or k out of n.
    marked : collection of str
        Names of parts to be marked by a thick frame and a bar below.
    width : float
        How wide it may be, in its own units.

    Returns
    -------
    Picture
        A long series is broken into rows, inside branches too; many parts of which some are
        enough stand in one frame.

    Examples
    --------
    >>> from labkit import Part, series
    >>> a, b = (Part(name, mtbf_h=500, mttr_h=4) for name in "AB")
    >>> block_diagram(series(a, b), marked=["B"])
    Block diagram: A - B. Marked: B.
    """
    words = f"Block diagram: {block_words(block)}."
    if marked:
        words += f" Marked: {', '.join(sorted(marked))}."
    laid = _laid(block, width - 4 * WIRE, marked)
    most, width, top = width, laid.width + 4 * WIRE, 12.0
    begin, end = top + laid.enters, top + laid.leaves
    pieces = [_wire(f"M{WIRE} {begin:g}h{WIRE}M{width - 2 * WIRE:g} {end:g}h{WIRE}"),
              *(f'<circle class="end" cx="{x:g}" cy="{y:g}" r="5"/>'
                for x, y in ((WIRE, begin), (width - WIRE, end))),
              laid.at(2 * WIRE, top)]
    return Picture(captioned(__file__, "lk-blocks", f"{width:g} {top + laid.height + 14:g}", words,
                             pieces, wide=min(width, most)), words)


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
    >>> from labkit import Part, parallel, series
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
