"""Small pieces of SVG text from which the pictures are put together.

All functions are pure: the same arguments give the same characters, so pictures can be compared
as text. Sizes are in units of the picture's own grid (`viewBox`), which the page scales.

Conditions: text is measured by a table of wide letters, so that words keep inside their frames
with any usual sans-serif font.
"""

import math
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from html import escape

from labkit.writing import safe_text
from lessons.language.edges import kept, said
from lessons.pictures.look import style_sheet

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
    r"""Return a text as it may stand in XML, whatever letters it holds.

    >>> escaped("a < b\x1b")
    'a &lt; b\\x1b'
    """
    return escape(safe_text(words), quote=quote)


@lru_cache(maxsize=4096)
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
    return sum(_EMS.get(c, _OTHER_EMS) for c in said(words)) * size * (_BOLD if bold else 1.0)


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
    cut = there = said(words)
    while cut and text_width(cut + "…", size, bold=bold) > width:
        cut = cut[:-1]
    whole = cut[: cut.rfind(" ")] if there[len(cut) : len(cut) + 1] != " " else cut
    return kept((whole if len(whole) > len(cut) / 2 else cut).rstrip(" ,:") + "…", words)


def tail(name: str, width: float, size: float = 15) -> str:
    """Return a bold designation, cut at its beginning where it is wider than the space: the end tells more.

    >>> tail("KF1", 60), tail("=WTR01.PUMP++EAST-KF1", 60)
    ('KF1', '…-KF1')
    """
    return next((cut for cut in (name, *(f"…{name[at:]}" for at in range(1, len(name))))
                 if text_width(cut, size, bold=True) <= width), name[-1:])


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
    left = said(words).split()
    while left:
        if len(lines) == most - 1:
            lines.append(kept(fit(" ".join(left), width, size), words))
            break
        taken = 1
        while taken < len(left) and text_width(" ".join(left[: taken + 1]), size) <= width:
            taken += 1
        lines.append(kept(fit(" ".join(left[:taken]), width, size), words))
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
    drawn = way(points, radius)
    return f'<path d="{drawn}" class="{kind}"/>' if drawn else ""


def way(points: Sequence[tuple[float, float]], radius: float = 7) -> str:
    """Return a line through points as the data of a path; empty for a single point.

    >>> way([(0, 0), (0, 0), (0, 9)])
    'M0,0L0,9'
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
    return "".join(drawn)


_SHAPES = {
    "bar": "M-{l},-{s}h{ll}v{ss}h-{ll}z",
    "ring": "M-{c},0a{c},{c} 0 1 0 {cc},0a{c},{c} 0 1 0 -{cc},0z",
    "dot": "M-{c},0a{c},{c} 0 1 0 {cc},0a{c},{c} 0 1 0 -{cc},0z",
    "square": "M-{c},-{c}h{cc}v{cc}h-{cc}z",
    "triangle": "M0,-{r}l{t},{tt}h-{w}z",
    "cross": "M-{c},-{c}l{cc},{cc}m0,-{cc}l-{cc},{cc}",
}


@lru_cache(maxsize=256)
def shape(name: str, x: float, y: float, reach: float) -> str:
    """Return the shape of a lamp or mark around a point, as the data of a path.

    >>> shape("square", 0, 0, 10)
    'M-8.5,-8.5h17v17h-17z'
    >>> shape("cross", 10, 20, 4)
    'M6.6,16.6l6.8,6.8m0,-6.8l-6.8,6.8'
    """
    r = reach
    if name == "broken ring":
        # four arcs, each two thirds of its quarter
        c = 0.85 * r
        ends = [(math.pi / 2 * (i + share)) for i in range(4) for share in (1 / 6, 5 / 6)]
        points = [f"{_short(x + c * math.cos(end))},{_short(y + c * math.sin(end))}"
                  for end in ends]
        return "".join(f"M{a}A{_short(c)},{_short(c)} 0 0 1 {b}"
                       for a, b in zip(points[::2], points[1::2]))
    if name not in _SHAPES:
        raise ValueError(f"shape must be one of {', '.join(_SHAPES)}, broken ring, got {name!r}")
    sizes = {"r": r, "c": 0.85 * r, "cc": 1.7 * r, "l": 1.5 * r, "ll": 3 * r, "s": 0.62 * r,
             "ss": 1.24 * r, "t": 1.1 * r, "tt": 1.85 * r, "w": 2.2 * r}
    data = _SHAPES[name].format(**{key: _short(size) for key, size in sizes.items()})
    if not (x or y):
        return data
    first = re.match(r"M(-?[\d.]+),(-?[\d.]+)", data)
    return f"M{_short(x + float(first[1]))},{_short(y + float(first[2]))}{data[first.end():]}"


def is_hollow(form: str) -> bool:
    """Return whether a shape is drawn by its line alone.

    >>> is_hollow("broken ring"), is_hollow("dot")
    (True, False)
    """
    return form in ("ring", "broken ring", "cross")


def lamp(x: float, y: float, form: str, colour: str, *, lit: bool = True,
         reach: float = 8) -> str:
    """Return a lamp: filled and coloured when lit, a thin outline of its shape when not.

    >>> lamp(0, 0, "square", "red", reach=10)
    '<g class="lamp red"><path class="s" d="M-8.5,-8.5h17v17h-17z"/></g>'
    """
    kind = colour if lit else "off"
    kind += " hollow" if is_hollow(form) else ""
    return f'<g class="lamp {kind}"><path class="s" d="{shape(form, x, y, reach)}"/></g>'


def document(parts: Iterable[str], width: float, height: float, label: str, *,
             still: bool = False) -> str:
    """Return a whole SVG picture with its text for those who do not see it.

    Parameters
    ----------
    parts : iterable of str
        What it shows, back to front.
    width, height : float
        Size of its grid, > 0.
    label : str
        Alternative text; it follows the state that is shown.
    still : bool
        Whether lamps that flash stand still with the word "flashing" beside them.

    >>> document([], 20, 10, "empty")[:34]
    '<svg xmlns="http://www.w3.org/2000'
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="lk-svg{" lk-still" if still else ""}"'
        f' viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{escaped(label)}">'
        f"{''.join(parts)}</svg>"
    )


def alone(picture: str) -> str:
    """Return a picture as it stands alone in a file, with its size, its style and a ground.

    >>> alone(document([], 20, 10, "empty"))[40:110]
    'class="lk lk-svg" viewBox="0 0 20 10" width="20" height="10" role="img'
    """
    head, drawn = picture.split(">", 1)
    wide, high = re.search(r'viewBox="0 0 (\S+) (\S+)"', head).groups()
    head = head.replace('class="', 'class="lk ', 1)
    head = head.replace(" role=", f' width="{wide}" height="{high}" role=', 1)
    ground = rectangle(0, 0, float(wide), float(high), "back", 0)
    return f"{head}><style>{STYLE}</style>{ground}{drawn}"


def captioned(module_file: str, kind: str, size: str, words: str,
              parts: Iterable[str], *, wide: float | None = None) -> str:
    """Return a picture that stands by itself in a page, in the style that lies beside a module.

    `size` is the width and height of its grid, `wide` how wide it is at most, in pixels.
    """
    label = escaped(words)
    most = f' style="max-width:{wide:g}px"' if wide else ""
    return (f'<svg class="{kind}" viewBox="0 0 {size}" role="img"{most} aria-label="{label}">'
            f"<title>{label}</title><style>{style_sheet(module_file, f'.{kind}')}</style>"
            f"{''.join(parts)}</svg>")
