"""Writing pictures into files, so that the same picture gives the same file."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from labkit.plant.plant import Plant, load_plant
from labkit.writing import write_whole
from lessons.pictures.figure_choice import left_out, stills
from lessons.pictures.page import THEMES, safe_words, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLOURS = 96
_METADATA = (("png", {"Software": None}), ("svg", {"Date": None}))


def png_of(svg: str) -> bytes | None:
    """Return an SVG picture as PNG, or None where the converter is not installed."""
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        return None
    return bytes(svg_to_bytes(svg_string=svg))


def write_picture(draw: Callable[[Axes], Axes], file: str | Path, *, theme: str = "light"
                  ) -> Path:
    """Draw one picture of 1600 by 900 points into a file.

    Parameters
    ----------
    draw : callable
        Draws it on axes.
    file : str or path
        Its ending says what it becomes: ".png" or ".svg".

    Raises
    ------
    ValueError
        When the ending or the theme is another one.
    OSError
        When the file cannot be written.

    >>> from lessons.pictures.part_curves import plot_survival
    >>> write_picture(lambda ax: plot_survival(60_000, ax), "picture.pdf")
    Traceback (most recent call last):
        ...
    ValueError: file must end in .png or .svg, got 'picture.pdf'
    """
    import matplotlib

    file = Path(file)
    metadata = dict(_METADATA).get(file.suffix[1:].lower())
    if metadata is None:
        raise ValueError(f"file must end in .png or .svg, got {str(file)!r}")
    figure = sheet(theme)
    draw(figure.add_subplot())
    safe_words(figure)
    with matplotlib.rc_context({"svg.hashsalt": "labkit", "svg.fonttype": "none"}):
        drawn = io.BytesIO()
        figure.savefig(drawn, format=file.suffix[1:].lower(), metadata=metadata)
    image = drawn.getvalue()
    return write_whole(file, _shrunk(image) if file.suffix.lower() == ".png" else image)


def write_figures(folder: str | Path, names: Sequence[str] | None = None, *,
                  plant: Plant | None = None, themes: Sequence[str] = ("light",),
                  say: Callable[[str], None] | None = None) -> list[Path]:
    """Write the pictures of the course as PNG and SVG, with words and numbers beside them.

    Parameters
    ----------
    folder : str or path
        Where to; it is made where it is not there.
    names : sequence of str, optional
        Which; all that this plant can show where it is left out.
    plant : Plant, optional
        Of which plant; that of the lessons where it is left out.
    themes : sequence of str
        "light" gives NAME.png and NAME.svg, "dark" NAME-dark.png and NAME-dark.svg.
    say : callable, optional
        Is told each file, and what could not be made.

    Returns
    -------
    list of Path
        The files written; NAME.md holds caption, alternative text and numbers.

    Raises
    ------
    ValueError
        When there is no picture or theme of such a name.
    OSError
        When the folder cannot be written.

    Notes
    -----
    What is SVG text by itself becomes a PNG by resvg-py; where that is not installed, only its
    SVG is written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_figures(folder, ["takeover"])]
    ['takeover.md', 'takeover.png', 'takeover.svg']
    """
    plant = plant or load_plant()
    drawn = stills(plant)
    unknown = sorted(set(names or ()) - set(drawn))
    if unknown:
        raise ValueError(f"names must be of {', '.join(drawn)}, got {unknown[0]!r}")
    wrong = [theme for theme in themes if theme not in THEMES]
    if wrong or not themes:
        raise ValueError(f"themes must be of {', '.join(THEMES)}, got {[*themes]}")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    tell = say or (lambda line: None)
    files = []

    def done(file: Path) -> None:
        files.append(file)
        tell(str(file))

    for name in drawn if names is None else [name for name in drawn if name in names]:
        still = drawn[name]
        data = f"{plant.name}, variant {plant.version}; {plant.data}."
        done(write_whole(folder / f"{name}.md", still.side_text(name, data)))
        for theme in THEMES:
            if theme not in themes:
                continue
            stem = folder / (name if theme == "light" else f"{name}-{theme}")
            png, svg = stem.with_suffix(".png"), stem.with_suffix(".svg")
            if still.draw:
                done(write_picture(still.draw, png, theme=theme))
                done(write_picture(still.draw, svg, theme=theme))
                continue
            image = png_of(still.svg(theme))
            if image:
                done(write_whole(png, _shrunk(image)))
            else:
                tell(f"{png}: not made, for this one needs resvg-py: pip install resvg-py")
            done(write_whole(svg, still.svg(theme)))
    for name, why in left_out(plant).items() if names is None else ():
        tell(f"{name}: not made, for {why}")
    return files


def _shrunk(image: bytes) -> bytes:
    """Keep few colours, chosen to lie near all that are met, so that the file is less than half as large."""
    from PIL import Image

    png = io.BytesIO()
    with Image.open(io.BytesIO(image)) as picture:
        few = picture.convert("RGB").quantize(_COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
        few.save(png, format="png", optimize=True)
    return png.getvalue()
