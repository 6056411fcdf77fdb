"""One picture of the course with its words and its numbers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from labkit.writing import markdown_cell, markdown_line
from lessons.pictures import svg
from lessons.pictures.look import LAMP_COLOURS, PAGE, PLATE, style_sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, HEIGHT = 1600, 900
# 18 pt on the slide, in its pixels. Type grows by no more than there is room for beside it: that of
# a plant with many parts stays smaller.
_SMALLEST, _MOST_GROWTH = 25.6, 1.05


@dataclass(frozen=True, eq=False)
class Still:
    """Hold a picture of the course; drawn on axes, or SVG text as a page shows it.

    Parameters
    ----------
    lesson : str
        Number of the lesson that it belongs to, two digits.
    caption : str
        The sentence below it.
    alternative : str
        What it shows, for those who do not see it: at most 60 words.
    head : tuple of str
        What the columns of its numbers are.
    rows : tuple of tuple of str
        Its numbers; of a curve as many points as one would read off.
    draw : callable, optional
        Draws it on axes.
    picture : str
        SVG text in the colours of the page, where it is not drawn on axes.

    >>> Still("01", "Caption.", "Words.", ("x",), (("1",),)).side_text("one", "made up")[:25]
    '# one\\n\\nLesson 01. Caption'
    """

    lesson: str
    caption: str
    alternative: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    draw: Callable[[Axes], Axes] | None = None
    picture: str = ""

    def side_text(self, name: str, data: str) -> str:
        """Return what stands in the file beside the picture, in Markdown.

        Parameters
        ----------
        name : str
            Of the picture.
        data : str
            Where its numbers come from.

        Returns
        -------
        str
            Caption, alternative text, and a table of the numbers.
        """
        said = (("Lesson", f"{self.lesson}. {self.caption}"), ("*In words:*", self.alternative),
                ("*Data:*", data))
        return "\n".join([
            f"# {name}", "", *(f"{head} {markdown_line(text)}\n" for head, text in said),
            _row(self.head), "|---" * len(self.head) + "|", *map(_row, self.rows), ""])

    def svg(self, theme: str) -> str:
        """Return the picture as an SVG file for a slide, in the theme "light" or "dark"."""
        return slide_svg(self.picture, theme, self.alternative)


def _row(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(map(markdown_cell, cells))} |"


def slide_svg(picture: str, theme: str, alternative: str, *, cut: bool = False) -> str:
    """Return a picture of ours as an SVG of 16 to 9 that any program can show.

    Parameters
    ----------
    picture : str
        SVG text without a style of its own, as `lessons.pictures.plant_picture.plant_svg` gives it.
    cut : bool
        Without the room above and below, for a page that has a heading of its own.

    Returns
    -------
    str
        The colours stand in it as such: programs for slides know no variables.

    >>> "var(" in slide_svg('<svg class="lk-svg" viewBox="0 0 9 9"></svg>', "dark", "empty")
    False
    """
    column = ("light", "dark").index(theme)
    colours = {name: pair[column] for name, pair in PAGE.items()} | PLATE
    colours |= {f"lamp-{name}": colour for name, colour in LAMP_COLOURS.items()}
    rules = style_sheet(svg.__file__)
    # A nested picture and the group around it must keep the sizes that they are given.
    rules = rules.replace("display:block;width:100%;height:auto;", "")
    rules = rules.replace("var(--jp-ui-font-family,system-ui),", "")
    rules = re.sub(r"var\(--lk-([\w-]+)\)", lambda found: colours[found[1]], rules)
    *_, wide, high = map(float, re.search(r'viewBox="([^"]+)"', picture)[1].split())
    scale = min(WIDTH / wide, HEIGHT / high)

    def grown(found: re.Match) -> str:
        size = float(found[1])
        return f"font-size:{max(size, min(_SMALLEST / scale, _MOST_GROWTH * size)):.4g}px"

    picture = re.sub(r"font-size:([\d.]+)px", grown, picture)
    x, y = (WIDTH - scale * wide) / 2, (HEIGHT - scale * high) / 2
    placed = picture.replace("<svg ", f'<svg x="{x:.1f}" y="{y:.1f}" width="{scale * wide:.1f}" '
                             f'height="{scale * high:.1f}" ', 1)
    top, tall = (y, scale * high) if cut else (0, HEIGHT)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{tall:.0f}" '
            f'viewBox="0 {top:.0f} {WIDTH} {tall:.0f}" role="img" aria-label="{svg.escaped(alternative)}">'
            f"<style>{rules}</style>"
            f'<g class="lk-svg lk-still"><rect class="back" width="{WIDTH}" height="{HEIGHT}"/>'
            f"{placed}</g></svg>\n")
