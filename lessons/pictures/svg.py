"""Small pieces of SVG text from which the pictures are put together.

All functions are pure: the same arguments give the same characters, so pictures can be compared
as text. Sizes are in units of the picture's own grid (`viewBox`), which the page scales.

Conditions: text is measured by a table of wide letters, so that words keep inside their frames
with any usual sans-serif font.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from labkit.writing import safe_text
from lessons.pictures.look import style_sheet

__all__ = [
    "cross", "document", "escaped", "fit", "lamp", "line", "rectangle", "tag",
    "text", "text_width", "words_in_lines",
]

STYLE = style_sheet(__file__, ".lk")

# Widths of letters in em, those of a wide sans-serif font (DejaVu Sans).
_EMS = {
    letter: ems
    for ems, letters in (
        (0.29, "'ijlIJ"), (0.34, " ,.:;/|f-"), (0.40, "()[]!tr"), (0.53, "szc?*_"),
        (0.69, "AVBRXZKC"), (0.77, "HNDGOQU&"), (0.84, "w+<=>…"), (0.86, "M"), (0.98, "mW@%"),
    )
    for letter in letters
}
_OTHER_EMS = 0.63
_BOLD = 1.12


def escaped(words: str, *, quote: bool = True) -> str:
    """Return a text as it may stand in XML, whatever letters it holds.

    >>> escaped("a < b\x1b")
    'a &lt; b\\x1b'
    """
    return escape(safe_text(words), quote=quote)


def text_width(words: str, size: float = 15, *, bold: bool = False) -> float:
    """Return about how wide a text is, rather too wide than too narrow.

    Parameters
    ----------
    words : str
        The text.
    size : float
        Font size, > 0, in grid units.
    bold : bool
        Whether the letters are bold.

    Returns
    -------
    float
        Width in grid units, >= 0.

    >>> text_width("KF1") < text_width("KF10") < text_width("KF10", bold=True)
    True
    """
    return sum(_EMS.get(c, _OTHER_EMS) for c in words) * size * (_BOLD if bold else 1.0)


def fit(words: str, width: float, size: float = 15, *, bold: bool = False) -> str:
    """Return the text, cut with an ellipsis where it is wider than the space for it.

    Parameters
    ----------
    words : str
        The text.
    width : float
        Space for it, in grid units.
    size : float
        Font size, > 0, in grid units.
    bold : bool
        Whether the letters are bold.

    >>> fit("24 V supply of both controllers", 120)
    '24 V supply…'
    """
    if text_width(words, size, bold=bold) <= width:
        return words
    cut = words
    while cut and text_width(cut + "…", size, bold=bold) > width:
        cut = cut[:-1]
    whole = cut[: cut.rfind(" ")] if words[len(cut) : len(cut) + 1] != " " else cut
    return (whole if len(whole) > len(cut) / 2 else cut).rstrip(" ,:") + "…"


def words_in_lines(words: str, width: float, most: int, size: float = 15) -> list[str]:
    """Return the text broken into lines that are no wider than the space.

    Parameters
    ----------
    words : str
        The text.
    width : float
        Space for a line, in grid units.
    most : int
        At most so many lines, >= 1; the last one is cut where the text is longer.
    size : float
        Font size, > 0, in grid units.

    >>> words_in_lines("rack of the header tank and UV", 160, 2)
    ['rack of the header', 'tank and UV']
    """
    lines: list[str] = []
    left = words.split()
    while left:
        if len(lines) == most - 1:
            lines.append(fit(" ".join(left), width, size))
            break
        taken = 1
        while taken < len(left) and text_width(" ".join(left[: taken + 1]), size) <= width:
            taken += 1
        lines.append(fit(" ".join(left[:taken]), width, size))
        left = left[taken:]
    return lines


def _short(number: float) -> str:
    """Return a coordinate with one decimal at most: finer than any screen shows."""
    return f"{round(number, 1):g}"


def text(x: float, y: float, words: str, kind: str = "", *, size: float | None = None,
         anchor: str = "start") -> str:
    """Return a text at a place; `y` is its base line.

    Parameters
    ----------
    x, y : float
        Place, in grid units.
    words : str
        The text, not yet escaped.
    kind : str
        Classes of `svg.css`: 'q' quiet, 'b' bold, 'f' fault, 'p' on a
        plate.
    size : float, optional
        Font size in grid units; 15 where it is left out.
    anchor : {'start', 'middle', 'end'}
        Which point of the text stands at the place.

    >>> text(1, 2, "A & B")
    '<text x="1" y="2">A &amp; B</text>'
    """
    return (
        f'<text x="{_short(x)}" y="{_short(y)}"'
        + (f' class="{kind}"' if kind else "")
        + (f' style="font-size:{size:g}px"' if size else "")
        + (f' text-anchor="{anchor}"' if anchor != "start" else "")
        + f">{escaped(words, quote=False)}</text>"
    )


def rectangle(x: float, y: float, width: float, height: float, kind: str = "plate",
              radius: float = 6) -> str:
    """Return a rectangle with round corners.

    Parameters
    ----------
    x, y, width, height : float
        Left upper corner and size, in grid units.
    kind : str
        Classes of `svg.css`.
    radius : float
        Radius of the corners, >= 0.

    >>> rectangle(0, 0, 10, 5, "plate", 2)
    '<rect x="0" y="0" width="10" height="5" rx="2" class="plate"/>'
    """
    return (
        f'<rect x="{_short(x)}" y="{_short(y)}" width="{_short(width)}"'
        f' height="{_short(height)}" rx="{_short(radius)}"'
        f' class="{kind}"/>'
    )


def line(points: Sequence[tuple[float, float]], kind: str = "wire", radius: float = 7) -> str:
    """Return a line through points, its corners rounded.

    Parameters
    ----------
    points : sequence of (x, y)
        Two or more points, in grid units; points that repeat are left out.
    kind : str
        Classes of `svg.css`.
    radius : float
        Radius of the corners, >= 0; less where a piece is short.

    Returns
    -------
    str
        Empty where fewer than two different points are left.

    >>> line([(0, 0), (0, 10), (20, 10)], "idle", 2)
    '<path d="M0,0L0,8Q0,10 2,10L20,10" class="idle"/>'
    """
    way = [point for i, point in enumerate(points) if i == 0 or point != points[i - 1]]
    if len(way) < 2:
        return ""
    drawn = [f"M{_short(way[0][0])},{_short(way[0][1])}"]
    for before, here, after in zip(way, way[1:], way[2:]):
        near = [here, here]
        for i, other in enumerate((before, after)):
            length = abs(other[0] - here[0]) + abs(other[1] - here[1])
            share = min(radius, length / 2) / length
            near[i] = tuple(h + (o - h) * share for h, o in zip(here, other))
        drawn.append("L{},{}Q{},{} {},{}".format(*map(_short, (*near[0], *here, *near[1]))))
    drawn.append(f"L{_short(way[-1][0])},{_short(way[-1][1])}")
    return f'<path d="{"".join(drawn)}" class="{kind}"/>'


def cross(x: float, y: float, reach: float = 8, kind: str = "mark") -> str:
    """Return a cross, the mark of what is broken.

    Parameters
    ----------
    x, y : float
        Middle, in grid units.
    reach : float
        Half its width, > 0.
    kind : str
        Classes of `svg.css`.

    >>> cross(10, 10, 4)
    '<path d="M6,6l8,8m0,-8l-8,8" class="mark"/>'
    """
    r, d = reach, _short(2 * reach)
    return (
        f'<path d="M{_short(x - r)},{_short(y - r)}l{d},{d}m0,-{d}l-{d},{d}"'
        f' class="{kind}"/>'
    )


def tag(x: float, y: float, words: str, *, size: float = 15, anchor: str = "start",
        most: float = 400, crossed: bool = True, mild: bool = False) -> str:
    """Return a red tag with a cross and the word for what is broken.

    Parameters
    ----------
    x, y : float
        Left (or, by `anchor`, right or middle) end and upper edge, in grid units.
    words : str
        What is broken, such as 'no power'.
    size : float
        Font size, > 0.
    anchor : {'start', 'middle', 'end'}
        Which end of the tag stands at `x`.
    most : float
        Widest tag allowed; longer words are cut.
    crossed : bool
        Whether the tag carries a cross; not needed where one stands beside it.
    mild : bool
        Whether nothing is broken, only disturbed: a yellow tag with a triangle.

    >>> "cut" in tag(0, 0, "cut")
    True
    """
    left = size + 10 if crossed else 6
    words = fit(words, most - left - 7, size, bold=True)
    width = text_width(words, size, bold=True) + left + 7
    height = size + 8
    x -= {"start": 0, "middle": width / 2, "end": width}[anchor]
    mark = ""
    if crossed:
        middle = x + 6 + size / 2.4, y + height / 2
        mark = lamp(*middle, "triangle", "warn", lit=True, reach=size / 2.6) if mild \
            else cross(*middle, size / 2.9, "tx")
    return (
        rectangle(x, y, width, height, "tag mild" if mild else "tag", 4)
        + mark
        + text(x + left, y + size + 1.5, words, "tt mild" if mild else "tt", size=size)
    )


def lamp(x: float, y: float, shape: str, colour: str, *, lit: bool, flashing: bool = False,
         reach: float = 8) -> str:
    """Return a lamp: filled and coloured when lit, a thin outline of its shape when not.

    Parameters
    ----------
    x, y : float
        Middle, in grid units.
    shape : {'bar', 'ring', 'broken ring', 'triangle', 'square', 'dot', 'cross'}
        Its shape.
    colour : {'green', 'white', 'yellow', 'red', 'warn', 'off'}
        Its colour when lit; 'warn' is that of the mark on a yellow tag.
    lit : bool
        Whether it is lit.
    flashing : bool
        Whether it flashes while lit.
    reach : float
        Half its width, > 0.

    Raises
    ------
    ValueError
        When the shape is none of these.

    >>> lamp(0, 0, "ring", "white", lit=True)
    '<circle cx="0" cy="0" r="6.4" class="owhite"/>'
    """
    r = reach
    lit = lit and colour != "off"
    solid = colour if lit else "off"
    hollow = f"o{colour}" if lit else "off"
    if lit and flashing:
        solid, hollow = f"{solid} lk-flash", f"{hollow} lk-flash"
    if shape == "bar":
        return rectangle(x - 1.5 * r, y - 0.62 * r, 3 * r, 1.24 * r, solid, 2)
    if shape in ("ring", "broken ring"):
        # four arcs, each two thirds of its quarter
        quarter = 0.8 * r * math.pi / 2
        gaps = "" if shape == "ring" else (
            f' stroke-dasharray="{_short(quarter * 2 / 3)} {_short(quarter / 3)}"')
        return (f'<circle cx="{_short(x)}" cy="{_short(y)}" r="{_short(0.8 * r)}" '
                f'class="{hollow}"{gaps}/>')
    if shape == "dot":
        return f'<circle cx="{_short(x)}" cy="{_short(y)}" r="{_short(0.85 * r)}" class="{solid}"/>'
    if shape == "square":
        return rectangle(x - 0.85 * r, y - 0.85 * r, 1.7 * r, 1.7 * r, solid, 1)
    if shape == "triangle":
        return (
            f'<path d="M{_short(x)},{_short(y - r)}l{_short(1.1 * r)},{_short(1.85 * r)}'
            f'h{_short(-2.2 * r)}z"'
            f' class="{solid}"/>'
        )
    if shape == "cross":
        return cross(x, y, 0.75 * r, hollow)
    raise ValueError(
        f"shape must be one of bar, ring, broken ring, triangle, square, dot, cross, got {shape!r}"
    )


def document(parts: Iterable[str], width: float, height: float, label: str, *,
             standalone: bool = False, still: bool = False) -> str:
    """Return a whole SVG picture with its text for those who do not see it.

    Parameters
    ----------
    parts : iterable of str
        What it shows, back to front.
    width, height : float
        Size of its grid, > 0.
    label : str
        Alternative text; it follows the state that is shown.
    standalone : bool
        Whether the picture carries its own style and background, to stand in a file.
    still : bool
        Whether lamps that flash stand still with the word "flashing" beside them.

    >>> document([], 20, 10, "empty")[:34]
    '<svg xmlns="http://www.w3.org/2000'
    """
    size = f' width="{width:g}" height="{height:g}"' if standalone else ""
    kind = "lk lk-svg" if standalone else "lk-svg"
    style = f"<style>{STYLE}</style>" if standalone else ""
    ground = rectangle(0, 0, width, height, "back", 0) if standalone else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{kind}{" lk-still" if still else ""}"'
        f' viewBox="0 0 {width:g} {height:g}"{size} role="img" aria-label="{escaped(label)}">'
        f"{style}{ground}{''.join(parts)}</svg>"
    )
