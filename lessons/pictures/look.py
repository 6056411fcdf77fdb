"""The colours of the pictures and panels, in one place, and their style.

Lamps stand on front plates that are dark in both themes, so a lamp has one colour for all. What
lies on the page itself (wires, words, curves) has one colour for the light and one for the dark
theme. Meanings follow IEC 60073: red faulty or emergency, yellow abnormal, green normal, white
neutral. No colour carries a meaning alone: a word and a shape stand beside it.
"""

import re
from functools import cache
from html import escape
from pathlib import Path

PLATE = {
    "plate": "#17212c",
    "well": "#0d151d",
    "plate-edge": "#7c8896",
    "plate-text": "#ffffff",
    "plate-quiet": "#b9c4cf",
    "plate-off": "#8795a3",
    "tag": "#b3261e",
    "tag-text": "#ffffff",
}
"""Colours of front plates and of the tags that name a fault, the same in both themes."""

LAMP_COLOURS = {
    "green": "#35d07f",
    "white": "#ffffff",
    "yellow": "#ffd43b",
    "red": "#ff6b62",
}
"""Colours of lit lamps on a front plate (IEC 60073)."""

PAGE = {
    "paper": ("#ffffff", "#111111"),
    "ink": ("#1c2430", "#f2f5f8"),
    "quiet": ("#55606e", "#b4bec9"),
    "wire": ("#3d4a59", "#c6d0da"),
    "idle": ("#6b7785", "#95a1ad"),
    "grid": ("#c5ccd4", "#47505a"),
    "fault": ("#b3261e", "#ff8a80"),
    "warn": ("#7d4f00", "#ffd43b"),
    "good": ("#19693a", "#62d894"),
    "weak": ("#b06f00", "#ffd43b"),
    "curve": ("#0b5cad", "#7cc4ff"),
    "curve-2": ("#8a3f8f", "#e3a5ea"),
    "water": ("#7fb0e0", "#2f6ea8"),
    "panel": ("#f3f5f8", "#1c232b"),
    "rule": ("#8a95a1", "#76828f"),
}
"""Colours on the page: (light theme, dark theme)."""


def page_colours_css(selector: str) -> str:
    """Return style rules that give an element the page's colours as variables, by theme.

    Parameters
    ----------
    selector : str
        CSS selector of the elements that are to know the colours, such as '.lk'.

    Returns
    -------
    str
        CSS text; the variables are named '--lk-' and the name in `PAGE` or `PLATE`. The dark
        colours hold inside a page that JupyterLab or Notebook has marked as dark.

    >>> "--lk-ink:#1c2430" in page_colours_css(".lk")
    True
    """
    fixed = {**PLATE, **{f"lamp-{name}": colour for name, colour in LAMP_COLOURS.items()}}
    light = {**fixed, **{name: pair[0] for name, pair in PAGE.items()}}
    dark = {name: pair[1] for name, pair in PAGE.items()}

    def rules(colours: dict[str, str]) -> str:
        return ";".join(f"--lk-{name}:{colour}" for name, colour in colours.items())

    return (
        f"{selector}{{{rules(light)}}}"
        f'[data-jp-theme-light="false"] {selector}{{{rules(dark)}}}'
    )


@cache
def script(module_file: str, around: str) -> str:
    """Return the script beside a module as a picture that fails, which a widget may show.

    Widgets cannot set attributes or listen to keys; what stands in a page as HTML can. `root` is
    the nearest element around the picture that a selector finds.
    """
    text = Path(module_file).with_suffix(".js").read_text(encoding="utf-8")
    text = re.sub(r"\s+", " ", re.sub(r"(?s)/\*.*?\*/", "", text)).strip()
    run = f"(root => {{ {text} }})(this.closest('{around}'))"
    return f'<img src="data:," alt="" hidden onerror="{escape(run)}">'


@cache
def style_sheet(module_file: str, selector: str = "") -> str:
    """Return the rules of the .css file beside a module, in one line, as short as they can be.

    With a selector, the page's colours stand before them. The text goes into each output of a
    notebook, so comments and spaces stay in the file.
    """
    css = Path(module_file).with_suffix(".css").read_text(encoding="utf-8")
    css = re.sub(r"\s+", " ", re.sub(r"(?s)/\*.*?\*/", "", css))
    css = re.sub(r" ?([{};,>]) ?", r"\1", css).replace(": ", ":").replace(";}", "}")
    return (page_colours_css(selector) if selector else "") + css.strip()


@cache
def _template(module_file: str):
    from jinja2 import Environment

    text = Path(module_file).with_suffix(".html.j2").read_text("utf-8")
    # A space between two lines would part what is shown there.
    return Environment(autoescape=True).from_string("".join(map(str.strip, text.splitlines())))


def markup(module_file: str, macro: str = "", /, **values: object) -> str:
    """Return the .html.j2 file beside a module with values in it, or what a macro of it makes."""
    template = _template(module_file)
    return getattr(template.module, macro)(**values) if macro else template.render(values)
