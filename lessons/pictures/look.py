"""The colours of the pictures and panels, in one place, and their style.

Lamps stand on front plates that are dark in both themes, so a lamp has one colour for all. What
lies on the page itself (wires, words, curves) has one colour for the light and one for the dark
theme. Meanings follow IEC 60073: red faulty or emergency, yellow abnormal, green normal, white
neutral. No colour carries a meaning alone: a word and a shape stand beside it.
"""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from html import escape
from pathlib import Path

from labkit.writing import safe_text

_COLOURS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text("utf-8"))

PLATE: Mapping[str, str] = _COLOURS["plate"]
"""Colours of front plates and of the tags that name a fault, the same in both themes."""

LAMP_COLOURS: Mapping[str, str] = _COLOURS["lamp"]
"""Colours of lit lamps on a front plate (IEC 60073)."""

PAGE: Mapping[str, list[str]] = _COLOURS["page"]
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

    def placed(value: object) -> object:
        return (f"{value:.1f}" if isinstance(value, float) else
                safe_text(value) if type(value) is str else value)

    text = Path(module_file).with_suffix(".html.j2").read_text("utf-8")
    # A space between two lines would part what is shown there.
    return Environment(autoescape=True, finalize=placed).from_string(
        "".join(map(str.strip, text.splitlines())))


def markup(module_file: str, macro: str = "", /, **values: object) -> str:
    """Return the .html.j2 file beside a module with values in it, or what a macro of it makes."""
    template = _template(module_file)
    return getattr(template.module, macro)(**values) if macro else template.render(values)
