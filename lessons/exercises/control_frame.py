"""The frame of the exercises on a page: style, box, reply, button, and a file that is kept."""

import json
import logging
import textwrap
from collections.abc import Callable
from html import escape
from types import SimpleNamespace

import ipywidgets as widgets
from traitlets import validate

from labkit.wording import HARD_SPACE, unbroken
from lessons.exercises.item import Case, fill
from lessons.exercises.replies import STOP_HERE, Verdict
from lessons.pictures.look import script, style_sheet

STYLE = style_sheet(__file__, ".lkx")


KEYS = script(__file__, ".lkx, .lk-panel")
_LOOKS = {
    Verdict.RIGHT: ("right", "✓"),
    Verdict.LOOK_AGAIN: ("again", "◆"),
    Verdict.UNIT: ("again", "◆"),
    Verdict.FOLLOWS: ("again", "◆"),
    Verdict.AS_ROUTE: ("again", "◆"),
    Verdict.PARTLY: ("partly", "◐"),
    Verdict.HINT: ("hint", "▸"),
    Verdict.NOT_SURE: ("hint", "▸"),
    Verdict.BLANK: ("open", "○"),
    Verdict.UNCLEAR: ("open", "○"),
}
"""Class of the rim and the shape; a reply or a cell is told by word, shape and rim."""


class ControlBox(widgets.VBox):
    """A box whose text form says what it asks.

    Parameters
    ----------
    twin : str
        The text form; lines are broken to fit a page.
    whole_words : bool
        True where words stay whole, such as the name of a file that is to be copied.
    """

    def __init__(self, twin: str, *, whole_words: bool = False) -> None:
        self._keys = widgets.HTML(KEYS, layout=widgets.Layout(display="none"))
        super().__init__()
        self.add_class("lkx")
        self._twin = "\n".join(
            textwrap.fill(
                line, 88, subsequent_indent="  ", break_long_words=not whole_words,
                break_on_hyphens=not whole_words)
            for line in twin.splitlines()
        )

    @validate("children")
    def _guarded(self, proposal: dict) -> tuple[widgets.Widget, ...]:
        """Keep what guards the keys behind whatever the box shows."""
        return (*(each for each in proposal["value"] if each is not self._keys), self._keys)

    def __repr__(self) -> str:
        return self._twin

    def _repr_mimebundle_(self, **kwargs):
        bundle = super()._repr_mimebundle_(**kwargs)
        # The original cuts the text form after some hundred characters.
        bundle["text/plain"] = self._twin
        return bundle


class Echo(widgets.HTML):
    """What has come from the page, said back to it: see the script of the frame.

    >>> echo = Echo()
    >>> echo.watch(widgets.Text()).value = "4 h"
    >>> echo.value
    '[&quot;4 h&quot;]'
    """

    def __init__(self) -> None:
        super().__init__("[]", layout=widgets.Layout(display="none"))
        self.add_class("lkx-heard")
        self.entries: list[widgets.DOMWidget] = []

    def watch(self, control: widgets.DOMWidget) -> widgets.DOMWidget:
        """Say back what stands in a control too, a text or the number of what is chosen."""
        control.add_class("lkx-entry")
        control.observe(lambda _: self.hear(), "value")
        self.entries.append(control)
        self.hear()
        return control

    def hear(self) -> None:
        """Say back what stands in the entries, in their order on the page."""
        said = (getattr(entry, "index", entry.value) for entry in self.entries)
        self.value = escape(json.dumps([-1 if each is None else each for each in said]))


def own(control: widgets.DOMWidget) -> widgets.DOMWidget:
    """Mark a control as one of ours, so that our style reaches no panel that stands beside it.

    >>> own(widgets.Text())._dom_classes
    ('lkx-in',)
    """
    control.add_class("lkx-in")
    return control


def side_by_side(controls: list[widgets.Widget]) -> widgets.HBox:
    """Return controls side by side, on more than one line where the page is narrow.

    >>> side_by_side([])._dom_classes
    ('lkx-row',)
    """
    box = widgets.HBox(controls)
    box.add_class("lkx-row")
    return box


def tick_box(text: str) -> widgets.Checkbox:
    """Return a box to tick, with its text on as many lines as it needs."""
    return own(widgets.Checkbox(description=text, value=False, indent=False,
                                layout=widgets.Layout(width="auto")))


def heading(title: str, item_id: str, seed: int, below: str) -> widgets.HTML:
    """Return the head of an exercise, with what stands below it as HTML text."""
    numbers = "" if seed == 0 else f", seed {seed}"
    return widgets.HTML(
        f'<style>{STYLE}</style><div class="lkx-text"><h4>{escape(title)} '
        f'<span class="id">{escape(item_id)}{numbers}</span></h4>{below}</div>')


def situation(case: Case, numbers: SimpleNamespace) -> str:
    """Return the situation of a case as a picture, or in words where there is none."""
    if case.picture is not None:
        return case.picture(numbers)
    words = prose(fill(case.text, numbers))
    return f"<p>{words}</p>" if words else ""


def paragraph(text: str) -> widgets.HTML:
    """Return a line of text between the controls."""
    return widgets.HTML(f'<div class="lkx-text"><p>{prose(text)}</p></div>')


def cell_text(text: str, *, bold: bool = False) -> widgets.HTML:
    """Return a text that stands in a cell of a table."""
    text = escape(text)
    return widgets.HTML(f'<div class="lkx-text">{f"<b>{text}</b>" if bold else text}</div>')


def note(text: str, *, folded: bool = False) -> widgets.HTML:
    """Return some lines of text that stand apart from the exercises, the first one bold.

    Parameters
    ----------
    text : str
        The lines.
    folded : bool
        True where a press on the first line is to open the others.

    >>> "<b>You have open:</b>" in note("You have open:\\nin lesson 01: a table").value
    True
    """
    first, *others = map(prose, text.splitlines())
    lines = "".join(f"<li>{line}</li>" for line in others)
    said = f"<b>{first}</b>{f'<ul>{lines}</ul>' if lines else ''}"
    if folded and lines:
        said = f"<details><summary><b>{first}</b></summary><ul>{lines}</ul></details>"
    return widgets.HTML(f'<div class="lkx-text lkx-note">{said}</div>')


def reply_html(words: str, verdict: Verdict | None, released: str = "", rows: tuple = ()) -> str:
    """Return a reply as a page shows it: its first word bold, and what it releases below."""
    words = prose(words)
    for word in (STOP_HERE, verdict.value if verdict is not None else ""):
        if word and words.startswith(word):
            words = f"<b>{word}</b>{words[len(word):]}"
    released = f'<div class="lkx-more">{prose(released)}</div>' if released else ""
    if rows:
        lines = (f"<tr><th>{prose(a)}</th><td>{prose(b)}</td></tr>" for a, b in rows)
        released = f"<table>{''.join(lines)}</table>"
    stop = words.startswith(f"<b>{STOP_HERE}")
    look, shape = ("stop", "■") if stop else _LOOKS.get(verdict, ("", ""))
    sign = f'<span class="lkx-shape" aria-hidden="true">{shape}</span> ' if shape else ""
    return (f'<div class="lkx-reply lkx-{look or "note"}" role="status" aria-live="polite">'
            f"{sign}{words}{released}</div>")


def mark_html(verdict: Verdict | None) -> str:
    """Return the mark of a cell: its shape and its word; nothing where none is given.

    >>> "✓" in mark_html(Verdict.RIGHT), mark_html(Verdict.NOTED)
    (True, '')
    """
    if verdict not in _LOOKS:
        return ""
    look, shape = _LOOKS[verdict]
    return (f'<div class="lkx-mark lkx-{look}"><span aria-hidden="true">{shape}</span> '
            f"{verdict.value.lower()}</div>")


def prose(text: str) -> str:
    """Return text for a page, with no line broken between a number and its unit.

    >>> prose("4 h < 5 h")
    '4&nbsp;h &lt; 5&nbsp;h'
    """
    return escape(unbroken(text)).replace(HARD_SPACE, "&nbsp;")


def button(text: str, tooltip: str, action: Callable[[], None], owner,
           style: str = "") -> widgets.Button:
    """Return a button whose errors are shown in words; otherwise they would vanish."""
    button = widgets.Button(description=text, tooltip=tooltip, button_style=style)
    button.layout.width = "auto"
    button.add_class("lkx-button")
    if style == "primary":
        button.add_class("lkx-main")  # Enter in a line presses it

    def pressed(button: widgets.Button) -> None:
        try:
            action()
        except Exception as problem:
            logging.getLogger(__name__).exception("a control failed")
            words = f"This did not work: {type(problem).__name__}: {problem}"
            owner.reply.value = reply_html(words, None)

    button.on_click(pressed)
    return button
