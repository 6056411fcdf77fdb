"""Pictures drawn by matplotlib, in the colours of the page, with their words below.

An image has the paper on which it was drawn, whatever the theme of the page. Here the drawing
itself stands in the page, and each colour of it is a variable that the theme sets.
"""

from __future__ import annotations

import io
import re
import textwrap
from base64 import b64encode
from collections.abc import Callable
from typing import TYPE_CHECKING

import ipywidgets as widgets

from labkit.writing import safe_text
from lessons.pictures.look import PAGE, style_sheet
from lessons.pictures.page import safe_words, sheet
from lessons.pictures.svg import escaped

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PNG_DOTS_PER_INCH = 62
_LINE = 88
_LOOK = style_sheet(__file__, ".lk-drawn")


def themed_svg(draw: Callable[[Axes], Axes], words: str) -> str:
    """Draw a picture as SVG text whose colours follow the theme of the page.

    Parameters
    ----------
    draw : callable
        Draws it on axes, in the colours of `lessons.pictures.page.inks`.
    words : str
        What the picture shows.

    Returns
    -------
    str
        SVG text without a colour of its own: each is a variable of `lessons.pictures.look`.

    Raises
    ------
    ValueError
        When the picture has a colour that is none of the page.

    >>> svg = themed_svg(lambda ax: ax.set_title("x", color=PAGE["ink"][0]), "A title.")
    Traceback (most recent call last):
        ...
    ValueError: draw must use the colours of the page, got #000000
    """
    from matplotlib import rc_context

    figure = sheet()
    draw(figure.add_subplot())
    safe_words(figure)
    file = io.StringIO()
    # The salt keeps the names of parts apart from those of other pictures on the page.
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": safe_text(words)}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    svg = re.sub(r"(?s)^.*?(?=<svg)|<metadata>.*?</metadata>|<style.*?</style>", "",
                 file.getvalue())
    svg = re.sub(r' (?:width|height)="[\d.]+pt"', "", svg, count=2)
    for name, (light, _) in PAGE.items():
        svg = svg.replace(light, f"var(--lk-{name})")
    strange = re.search(r"#[0-9a-f]{6}\b", svg)
    if strange:
        raise ValueError(f"draw must use the colours of the page, got {strange.group()}")
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escaped(words)}" ', 1)


class Drawn(widgets.HTML):
    """Show a picture in the colours of the page, with its words below.

    Parameters
    ----------
    draw : callable
        Draws it on axes, in the colours of `lessons.pictures.page.inks`.
    words : str
        What the picture shows.

    >>> from lessons.pictures.part_curves import plot_survival
    >>> Drawn(lambda ax: plot_survival(60_000, ax), "A falling curve.")
    A falling curve.
    """

    def __init__(self, draw: Callable[[Axes], Axes], words: str) -> None:
        self._draw, self.words = draw, words
        super().__init__(
            f'<div class="lk-drawn"><style>{_LOOK}</style>{themed_svg(draw, words)}'
            f"<p>{escaped(words)}</p></div>"
        )

    def __repr__(self) -> str:
        return "\n".join(textwrap.fill(line, _LINE) for line in self.words.splitlines())

    def png(self) -> bytes:
        """Return the picture on white paper, for a page without controls."""
        figure = sheet()
        self._draw(figure.add_subplot())
        file = io.BytesIO()
        figure.savefig(file, format="png", dpi=PNG_DOTS_PER_INCH, metadata={"Software": None})
        return file.getvalue()

    def _repr_mimebundle_(self, include=None, exclude=None):
        bundle = super()._repr_mimebundle_()
        data, metadata = bundle if isinstance(bundle, tuple) else (bundle, {})
        image = b64encode(self.png()).decode("ascii")
        return {**data, "text/plain": repr(self), "image/png": image}, metadata


def drawn(draw: Callable[[Axes], Axes], words: str) -> Drawn:
    """Show a picture drawn by matplotlib, in the colours of the page.

    Parameters
    ----------
    draw : callable
        Draws it on axes, in the colours of `lessons.pictures.page.inks`.
    words : str
        What the picture shows, at most 60 of them; they stand below it.

    Returns
    -------
    Drawn
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> from lessons.pictures.part_curves import plot_survival
    >>> drawn(lambda ax: plot_survival(60_000, ax), "A falling curve.").words
    'A falling curve.'
    """
    return Drawn(draw, words)
