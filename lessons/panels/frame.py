"""What all panels have in common: look, messages, one wrapper for callbacks, and twins.

A panel is a widget. Shown as the last value of a cell it also leaves, in the same output, a
picture with alternative text and the state as text, for readers who have no controls: an exported
page, a notebook that was not run yet, a screen reader.
"""

import math
import textwrap
import weakref
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import ClassVar
from urllib.parse import quote

import ipywidgets as widgets

from labkit.arguments import written
from labkit.wording import shown
from lessons.exercises.quantities import Unit, Unreadable, parse, unit
from lessons.exercises.units import TwoReadings
from lessons.language.edges import said
from lessons.pictures.boards import STYLE as BOARDS
from lessons.pictures.look import script, style_sheet
from lessons.pictures.svg import STYLE as PICTURES
from lessons.pictures.svg import alone

STYLE = style_sheet(__file__)

_STILL = "A still picture and its text. Run this cell to get the panel with its controls."

def picture_html(svg: str, alternative: str) -> str:
    """Return a picture that is shown even where a page takes out drawings and styles.

    Parameters
    ----------
    svg : str
        A picture that stands alone, as SVG text.
    alternative : str
        Its alternative text.

    Returns
    -------
    str
        HTML of one image with the picture in it.

    >>> picture_html("<svg/>", "nothing")
    '<img alt="nothing" width="720" src="data:image/svg+xml;utf8,%3Csvg/%3E">'
    """
    data = quote(svg, safe=" !$&'()*+,-./:;=?@[]_{}~")
    return (
        f'<img alt="{escape(alternative)}" width="720" '
        f'src="data:image/svg+xml;utf8,{data.replace("&", "%26")}">'
    )


def running_cell() -> tuple[str, str] | None:
    """Return the cell that runs now and its run; None where no page has told which cell it is."""
    from IPython import get_ipython

    kernel = getattr(get_ipython(), "kernel", None)
    asked = kernel.get_parent("shell") if kernel else {}
    cell = asked.get("metadata", {}).get("cellId")
    return (cell, asked["header"]["msg_id"]) if cell else None


def close_all(widget: widgets.Widget) -> None:
    """Close a widget with all that it holds; closed by itself it would leave these behind.

    >>> box = widgets.VBox([widgets.Button()])
    >>> close_all(box)
    >>> box.children[0].comm is None
    True
    """
    held = [*getattr(widget, "children", ()),
            *(getattr(widget, name, None) for name in ("layout", "style"))]
    widget.close()
    for each in held:
        if isinstance(each, widgets.Widget) and each.comm is not None:
            close_all(each)


class Shown:
    """Hold what every panel has: a task, a twin in text, a still picture, errors in words.

    A cell that runs again closes the panels of its former run.
    """

    task = ""
    way_back = ""
    problem: Exception | None = None
    # By cell: the run, and the panels that it has made.
    _of_cells: ClassVar[dict[str, tuple[str, list[weakref.ref]]]] = {}

    def __init__(self, *arguments, **more):
        super().__init__(*arguments, **more)
        if (place := running_cell()) is None:
            return
        cell, run = place
        before, panels = self._of_cells.get(cell, ("", []))
        if before != run:
            for panel in filter(None, (each() for each in panels)):
                close_all(panel)
            panels = []
        self._of_cells[cell] = run, [*panels, weakref.ref(self)]

    def text(self) -> str:
        """Return all that the panel shows, as text."""
        task = f"Task: {self.task}" if self.task else ""
        return "\n".join(filter(None, (task, self.state_text())))

    def state_text(self) -> str:
        """Return what stands below the task, as text."""
        return ""

    def twin_text(self) -> str:
        """Return the text that a page without controls shows."""
        return self.text()

    def restore(self) -> None:
        """Bring the controls in line with the state after something went wrong."""

    def say_wrong(self, words: str) -> None:
        """Show what went wrong; empty words take it away."""

    def still_picture(self) -> tuple[str, str]:
        """Return a picture of the state as SVG text that stands alone, and its alternative text."""
        return "", ""

    def guarded(self, handler: Callable[..., None]) -> Callable[..., None]:
        """Return a callback that runs a handler and shows an error in the panel, in plain words.

        Parameters
        ----------
        handler : callable
            A plain function; a test calls it directly.
        """

        def callback(*arguments: object) -> None:
            try:
                handler(*arguments)
            except Exception as problem:  # noqa: BLE001  what is not shown here is lost
                self.restore()
                self.problem = problem
                self.say_wrong(f"That did not work: {str(problem) or type(problem).__name__}. "
                               f"Nothing else is changed{self.way_back}.")
            else:
                self.problem = None
                self.say_wrong("")

        return callback

    def _repr_mimebundle_(self, include=None, exclude=None):
        bundle = super()._repr_mimebundle_()
        data, metadata = bundle if isinstance(bundle, tuple) else (bundle, {})
        state = "\n".join(
            textwrap.fill(line, 96, subsequent_indent="    ")
            for line in self.twin_text().splitlines()
        )
        svg, alternative = self.still_picture()
        drawn = picture_html(svg, alternative) if svg else ""
        data = {**data, "text/plain": state,
                "text/html": f"<p>{_STILL}</p>{drawn}<pre>{escape(state, quote=False)}</pre>"}
        return data, metadata


class Panel(Shown, widgets.VBox):
    """Hold the parts of a panel; a panel of its own derives from this.

    Parameters
    ----------
    task : str
        What the reader is to do with it; it stands in the panel.
    parts, below : sequence of Widget
        What it shows, from top to bottom; what goes wrong is said between the two.

    Attributes
    ----------
    problem : Exception or None
        What went wrong in the latest callback.

    >>> Panel("Look.", []).text()
    'Task: Look.'
    """

    style_rules = ""

    def __init__(self, task: str, parts: Sequence[widgets.Widget],
                 below: Sequence[widgets.Widget] = ()):
        self.task = task
        look = widgets.HTML(f"<style>{STYLE + PICTURES + BOARDS + self.style_rules}</style>"
                            f"{script(__file__, '.lk-panel')}")
        look.add_class("lk-style")
        self._message = widgets.HTML()
        said = [widgets.HTML(f'<div class="lk-task"><b>Task:</b> {escape(task)}</div>')] \
            if task else []
        super().__init__([look, *said, *parts, self._message, *below])
        self.add_class("lk")
        self.add_class("lk-panel")

    def button(self, words: str, handler: Callable[[], object]) -> widgets.Button:
        """Return a button, as wide as its words."""
        made = widgets.Button(description=words, layout=widgets.Layout(width="auto"))
        made.on_click(self.guarded(lambda _: handler()))
        return made

    def number(self, words: str, about: str, value: float, least: float, most: float, unit_of: str, *,
               step: float = 1, typed: str = "or type", width: int = 280, decades: bool = False
               ) -> tuple[widgets.Widget, widgets.Text]:
        """Return a slider for a number, whole as its steps are, and an entry to type it as an answer.

        What breaks the rule of the entry is said, and never bent; `decades` are equally long.
        """
        whole, low, high = isinstance(step, int), shown(least), shown(most)
        asked = unit(unit_of)
        shared = {"tooltip": about, "continuous_update": False, "style": {"description_width": "auto"}}
        kind = widgets.FloatLogSlider if decades else widgets.IntSlider if whole else widgets.FloatSlider
        ends = map(math.log10, (least, most)) if decades else (least, most)
        slider = kind(description=words, readout=False, value=value, step=step, **shared,
                      **dict(zip(("min", "max"), ends)), layout=widgets.Layout(width=f"{width}px"))
        place = widgets.Layout(margin="2px 12px 2px 2px", width=f"{92 + 8 * len(said(typed))}px")
        entry = widgets.Text(f"{value:.9g}", description=typed, layout=place, **shared)

        def take(change: dict) -> None:
            try:
                number, got = typed_number(change["new"], asked), written(change["new"])
                if not least <= number <= most or whole and number % 1:
                    raise ValueError(f"{about} must be {'a whole number' if whole else 'a number'} "
                                     f"from {low} to {high}, got {got}")
            except ValueError:
                entry.value = change["old"]
                raise
            slider.value = number

        def slid(change: dict) -> None:
            # What was typed came here from the entry, and keeps all its digits.
            if change["new"] != typed_number(entry.value, asked):
                entry.value = "{:g}".format(float(f"{change['new']:.3g}"))

        entry.observe(self.guarded(take), "value")
        slider.observe(slid, "value")
        return slider, entry

    def say_wrong(self, words: str) -> None:
        """Show what went wrong; empty words take it away."""
        self._message.value = (f'<div class="lk-message" role="alert">{escape(words)}</div>'
                               if words else "")


def choice(words: str, options: Mapping[str, object] | Sequence, value: object, *,
           most: str = "100%", **more) -> widgets.Dropdown:
    """Return a list to choose from, as wide as its words, at most as wide as is said."""
    return widgets.Dropdown(description=words, options=options, value=value,
                            style={"description_width": "auto"},
                            layout=widgets.Layout(width="auto", max_width=most), **more)


def tick(words: str, value: bool, **more) -> widgets.Checkbox:
    """Return a box to be ticked, with room on its right."""
    return widgets.Checkbox(description=words, value=value, indent=False,
                            layout=widgets.Layout(width="auto", margin="2px 24px 2px 2px"), **more)


def typed_number(text: str, asked: Unit) -> float:
    """Return the number that was typed in the unit that is asked; nan where it is none.

    Raises
    ------
    TwoReadings
        When it can be read in two ways.

    >>> [typed_number(text, unit("ms")) for text in ("250", "0,25 s", "1e3", "soon", "5 %")]
    [250.0, 250.0, 1000.0, nan, nan]
    """
    try:
        given = parse(text, asked)
        own = given.unit or asked
        return float(f"{given.number * own.factor / asked.factor:.12g}") if own.kind == asked.kind else math.nan
    except Unreadable as problem:
        if isinstance(problem, TwoReadings):
            raise
        return math.nan


class PicturePanel(Panel):
    """Show rows of controls, a picture that follows them, and a line that says what it comes to.

    A panel of its own says in `drawn` by which functions the picture, its alternative text and, where
    there is more to say, its text are made of what is `shown`, and what its `line` is; what is worked
    out once for all of them it works out in `work_out`.
    """

    drawn: ClassVar[tuple[Callable[..., str], ...]] = ()

    def __init__(self, task: str, *rows: Sequence[widgets.Widget],
                 watch: Sequence[widgets.Widget],
                 below: Sequence[widgets.Widget] = ()):
        self.picture, self.said = widgets.HTML(), widgets.HTML()
        for each in (self.picture, *below):
            each.add_class("lk-chart")
        for control in watch:
            control.observe(self.guarded(lambda _: self.draw()), "value")
        wrapped = widgets.Layout(flex_flow="row wrap")
        super().__init__(task, [widgets.HBox(row, layout=wrapped) for row in rows],
                         [self.said, self.picture, *below])
        self.draw()

    def work_out(self) -> None:
        """Bring what the picture and the texts are made of in line with the controls."""

    @property
    def shown(self) -> tuple:
        """What the picture is made of."""
        raise NotImplementedError

    def svg(self) -> str:
        """Return the picture as SVG text."""
        return self.drawn[0](*self.shown)

    def alternative(self) -> str:
        """Return what the picture shows, in words."""
        return self.drawn[1](*self.shown)

    def line(self) -> str:
        """Return what it comes to, as HTML: it stands in a strip above the picture."""
        return ""

    def draw(self) -> None:
        """Show the state of the controls."""
        self.work_out()
        self.picture.value = self.svg()
        said = self.line()
        self.said.value = f'<div class="lk-verdict" role="status">{said}</div>' if said else ""

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return self.drawn[2](*self.shown) if len(self.drawn) > 2 else self.alternative()

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        return alone(self.svg()), self.alternative()
