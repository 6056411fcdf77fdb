"""Controls for the exercises: what a notebook shows, over the same session as the text path.

Every control is a box whose text form is the task itself, so that a page without controls (an
export, a reader, a copy that was not run) still shows the task and how to answer it by text.
Handlers are methods with names, so that a test calls them and not a click.
"""

from __future__ import annotations

import logging
import os
import textwrap
from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from labkit.exercises.choosing import LETTERS, NOT_SURE, Choice, Order, Prediction
from labkit.exercises.items import Verdict, fill
from labkit.exercises.numeric import Numeric
from labkit.exercises.session import Reply, Session, lesson_of, session
from labkit.exercises.table import Free, Pick, Table
from labkit.look import page_colours_css

__all__ = ["ask", "predict_first", "recall", "steps"]

_STYLE = (
    page_colours_css(".lkx")
    + ".lkx{padding:12px 16px 14px;margin:6px 0;border:1px solid var(--lk-rule);"
    "border-left:6px solid var(--lk-curve);border-radius:4px;max-width:900px;"
    "background:var(--lk-paper)}"
    ".lkx .lkx{border:0;border-top:1px solid var(--lk-grid);border-radius:0;padding:8px 0 0}"
    ".lkx-text{color:var(--lk-ink);font-size:15px;line-height:1.5;white-space:normal;"
    "max-width:72ch}"
    ".lkx-text h4{margin:0 0 6px;font-size:16px;font-weight:700;color:var(--lk-ink)}"
    ".lkx-text p{margin:0 0 6px}"
    ".lkx-text .id{font-weight:400;font-size:13px;color:var(--lk-quiet)}"
    ".lkx-reply{color:var(--lk-ink);background:var(--lk-panel);border:1px solid var(--lk-rule);"
    "border-radius:4px;padding:8px 12px;margin:6px 0 0;font-size:15px;line-height:1.5;"
    "max-width:72ch}"
    ".lkx-reply pre{white-space:pre-wrap;font-family:inherit;margin:6px 0 0;color:inherit;"
    "background:none;font-size:15px;line-height:1.5}"
    ".lkx-reply b{font-weight:700}"
    ".lkx .widget-radio-box label,.lkx .widget-checkbox label{height:auto;line-height:1.45;"
    "white-space:normal;width:auto;max-width:72ch;font-size:15px;color:var(--lk-ink)}"
    ".lkx .widget-radio-box{padding:2px 0}"
    ".lkx .widget-radio-box label{padding:4px 0 4px 26px;position:relative;margin:0}"
    ".lkx .widget-radio-box label input{position:absolute;left:2px;top:7px;margin:0}"
    ".lkx .widget-label,.lkx .widget-button{font-size:15px}"
    ".lkx .widget-button:focus-visible,.lkx input:focus-visible,.lkx select:focus-visible"
    "{outline:3px solid var(--lk-curve);outline-offset:1px}"
)


class _Box(widgets.VBox):
    """A box whose text form says what it asks."""

    def __init__(self, twin: str) -> None:
        super().__init__()
        self.add_class("lkx")
        self._twin = "\n".join(
            textwrap.fill(line, 88, subsequent_indent="  ") for line in twin.splitlines()
        )

    def __repr__(self) -> str:
        return self._twin

    def _repr_mimebundle_(self, **kwargs):
        bundle = super()._repr_mimebundle_(**kwargs)
        # The original cuts the text form after some hundred characters.
        bundle["text/plain"] = self._twin
        return bundle


class _Exercise(_Box):
    """What the controls of all types share: the task, the buttons, the reply."""

    def __init__(
        self, item_id: str, seed: int | None, desk: Session, chain: _StepsControl | None = None
    ) -> None:
        self.desk = desk
        self.item_id = item_id
        self.seed = desk.seed if seed is None else seed
        self.chain = chain
        super().__init__(desk.task(item_id, seed))
        self.build()

    def build(self) -> None:
        """Lay out the task for the present seed."""
        lesson = lesson_of(self.item_id)
        self.item = lesson.item(self.item_id)
        self.numbers = lesson.numbers(self.item.case, self.seed)
        self.reply = widgets.HTML()
        self.more = widgets.VBox()
        self.children = [self.heading(), *self.inputs(), self.buttons(), self.reply, self.more]

    def heading(self) -> widgets.HTML:
        """Return title, situation and question; a step needs no situation of its own."""
        situation, question = (
            escape(fill(text, self.numbers)) for text in (self.item.case.text, self.item.ask)
        )
        if self.chain is not None:
            title = escape(self.chain.heading_of(self.item_id))
            return widgets.HTML(f'<div class="lkx-text"><h4>{title}</h4><p>{question}</p></div>')
        seed = "" if self.seed == 0 else f", seed {self.seed}"
        return widgets.HTML(
            f'<style>{_STYLE}</style><div class="lkx-text"><h4>{escape(self.item.title)} '
            f'<span class="id">{escape(self.item_id)}{seed}</span></h4>'
            + (f"<p>{situation}</p>" if situation else "")
            + f"<p>{question}</p></div>"
        )

    def inputs(self) -> list[widgets.Widget]:
        """Return the controls that take the answer."""
        raise NotImplementedError

    def answer(self) -> object:
        """Return the answer as it stands in the controls."""
        raise NotImplementedError

    def buttons(self) -> widgets.Widget:
        """Return the row of buttons."""
        row = [_button("Check", "Check the answer", self.check, self, "primary")]
        row.append(_button("Hint", "Show the next hint", self.hint, self))
        if self.chain is None and len(list(self.item.case.draws(1))) > 1:
            row.append(_button("New numbers", "The same task, other numbers", self.renew, self))
        return widgets.HBox(row)

    def check(self) -> None:
        """Judge the answer and show the reply."""
        self.show(self.desk.check(self.item_id, self.answer(), self.seed))

    def hint(self) -> None:
        """Show the next hint."""
        self.show(self.desk.hint(self.item_id, self.seed))

    def renew(self) -> None:
        """Take new numbers."""
        self.seed += 1
        self.build()

    def show(self, reply: Reply) -> None:
        """Show a reply, and what it releases."""
        released = "" if self.chain else self.released_text(reply)
        self.reply.value = _reply_html(reply.feedback, reply.verdict, released)
        self.follow_up(reply)
        if self.chain is not None:
            self.chain.release()

    def released_text(self, reply: Reply) -> str:
        """Return what of the released text belongs into the reply."""
        return reply.released

    def follow_up(self, reply: Reply) -> None:
        """Do what a reply brings with it."""


class _NumericControl(_Exercise):
    def inputs(self) -> list[widgets.Widget]:
        self.box = widgets.Text(
            description="Answer",
            placeholder="a number" if self.item.shows_unit else "number and unit",
            tooltip="Type a number and its unit",
            layout=widgets.Layout(width="320px"),
        )
        shown_unit = [widgets.Label(self.item.unit)] if self.item.shows_unit else []
        return [widgets.HBox([self.box, *shown_unit])]

    def answer(self) -> object:
        return self.box.value

    def released_text(self, reply: Reply) -> str:
        return "" if self.item.rough and reply.verdict is Verdict.RIGHT else reply.released

    def follow_up(self, reply: Reply) -> None:
        if self.item.rough and reply.verdict is Verdict.RIGHT:
            self.more.children = [_control(f"{self.item_id}.size", self.seed, self.desk)]


class _ChoiceControl(_Exercise):
    def inputs(self) -> list[widgets.Widget]:
        self.box = _radio(self.item, self.numbers, self.seed)
        return [self.box]

    def answer(self) -> object:
        return self.box.value


class _OrderControl(_Exercise):
    def inputs(self) -> list[widgets.Widget]:
        self.placed: list[int] = []
        self.cards = {}
        for place, card in enumerate(self.item.arranged(self.seed)):
            text = f"{LETTERS[place]}) {fill(self.item.cards[card], self.numbers)}"
            self.cards[card] = _button(text, "Put this card next", self._placer(card), self)
            self.cards[card].layout.width = "420px"
            self.cards[card].style.text_align = "left"
        self.line = widgets.HTML()
        self._draw()
        return [*self.cards.values(), self.line]

    def _placer(self, card: int) -> Callable[[], None]:
        return lambda: self.place(card)

    def place(self, card: int) -> None:
        """Put a card at the end of the order."""
        if card not in self.placed:
            self.placed.append(card)
        self._draw()

    def clear(self) -> None:
        """Take all cards back."""
        self.placed = []
        self._draw()

    def _draw(self) -> None:
        letters = self.item.arranged(self.seed)
        for card, button in self.cards.items():
            button.disabled = card in self.placed
        order = " - ".join(LETTERS[letters.index(card)] for card in self.placed)
        self.line.value = (
            f'<div class="lkx-text"><p>Your order: {order or "press the cards one by one"}</p></div>'
        )

    def buttons(self) -> widgets.Widget:
        row = super().buttons()
        again = _button("Start again", "Take all cards back", self.clear, self)
        row.children = [*row.children, again]
        return row

    def answer(self) -> object:
        letters = self.item.arranged(self.seed)
        return " ".join(LETTERS[letters.index(card)] for card in self.placed)


class _TableControl(_Exercise):
    def inputs(self) -> list[widgets.Widget]:
        self.cells = {}
        grid = [_cell_text(fill(self.item.corner, self.numbers), bold=True)]
        grid += [_cell_text(column, bold=True) for column in self.item.columns]
        for row in self.item.rows:
            grid.append(_cell_text(row, bold=True))
            grid += [self._cell(row, column) for column in self.item.columns]
        columns = f"minmax(150px, max-content) repeat({len(self.item.columns)}, minmax(0, 1fr))"
        layout = widgets.Layout(grid_template_columns=columns, grid_gap="4px 12px", width="100%")
        return [widgets.GridBox(grid, layout=layout)]

    def _cell(self, row: str, column: str) -> widgets.Widget:
        cell = self.item.cells.get((row, column), "")
        if isinstance(cell, str):
            return _cell_text(fill(cell, self.numbers))
        name = f"{row}, {column}"
        wide = widgets.Layout(width="auto")
        if isinstance(cell, Pick):
            options = [("choose", ""), *((text, text) for text in cell.options)]
            entry = widgets.Dropdown(options=options, value="", tooltip=name, layout=wide)
        elif isinstance(cell, Free):
            entry = widgets.Textarea(
                placeholder="your own words", tooltip=name, rows=3, layout=wide
            )
        else:
            entry = widgets.Text(placeholder=f"in {cell.unit}", tooltip=name, layout=wide)
        self.cells[f"{row} / {column}"] = entry
        return entry

    def answer(self) -> object:
        return {place: entry.value for place, entry in self.cells.items() if entry.value.strip()}

    def buttons(self) -> widgets.Widget:
        row = super().buttons()
        keep = _button("Keep as file", "Write the table into your folder", self.keep, self)
        row.children = [*row.children, keep]
        return row

    def keep(self) -> None:
        """Write the table as it stands into the working folder, beside what is there."""
        text = self.item.paper(self.answer(), self.numbers)
        try:
            path = _write_beside(Path.cwd(), self.item_id, text)
            self.reply.value = _reply_html(f"Kept: {path.name}, beside this notebook.", None)
        except OSError as problem:
            words = f"Not kept: {problem.strerror}. The table stands below; copy it from there."
            self.reply.value = _reply_html(words, None, text)


class _PredictionControl(_Exercise):
    """Commit first; then the panel, the list of observations, and the comparison."""

    def __init__(self, item_id, panel, seed, desk) -> None:
        self.panel = panel
        super().__init__(item_id, seed, desk)

    def inputs(self) -> list[widgets.Widget]:
        self.box = _radio(self.item, self.numbers, self.seed)
        self.because = widgets.Text(
            description="Because",
            placeholder="one line of reason",
            tooltip="Why you expect it",
            layout=widgets.Layout(width="100%", max_width="620px"),
        )
        return [self.box, self.because]

    def answer(self) -> object:
        if self.box.value is None:
            return ""
        return f"{self.box.value} because {self.because.value}"

    def buttons(self) -> widgets.Widget:
        self.commit_button = _button(
            "Commit", "Commit the prediction and open the run", self.check, self, "primary"
        )
        self.skip_button = _button(
            "Show me without predicting", "Open the run; recorded as skipped", self.skip, self
        )
        self.skip_button.layout.width = "auto"
        return widgets.HBox([self.commit_button, self.skip_button])

    def skip(self) -> None:
        """Open the run without a prediction."""
        self.show(self.desk.skip(self.item_id, self.seed))

    def released_text(self, reply: Reply) -> str:
        return ""

    def follow_up(self, reply: Reply) -> None:
        if reply.verdict not in (Verdict.NOTED, Verdict.SKIPPED):
            return
        for control in (self.box, self.because, self.commit_button, self.skip_button):
            control.disabled = True
        self.ticks = {
            s.key: widgets.Checkbox(
                description=fill(s.text, self.numbers), value=False, indent=False,
                layout=widgets.Layout(width="auto"),
            )
            for s in self.item.statements
        }
        run = (
            self.panel()
            if self.panel
            else widgets.HTML(_reply_html(self.item.run(self.numbers), None))
        )
        self.comparison = widgets.HTML()
        self.more.children = [
            run,
            widgets.HTML('<div class="lkx-text"><p>Tick what you saw.</p></div>'),
            *self.ticks.values(),
            _button("Compare", "Set prediction and observation side by side", self.compare, self),
            self.comparison,
        ]

    def compare(self) -> None:
        """Set prediction, reason and observation side by side with the run."""
        ticked = [key for key, box in self.ticks.items() if box.value] or "none"
        reply = self.desk.observe(self.item_id, ticked, self.seed)
        self.comparison.value = _reply_html(reply.feedback, reply.verdict, reply.released)


class _StepsControl(_Box):
    """A chain of steps, released one after the other."""

    def __init__(self, chain_id: str, seed: int | None, desk: Session) -> None:
        self.desk = desk
        self.chain_id = chain_id
        self.seed = desk.seed if seed is None else seed
        super().__init__(desk.task(chain_id, seed))
        self.build()

    def build(self) -> None:
        """Lay out the case and the first step for the present seed."""
        lesson = lesson_of(self.chain_id)
        self.chain = lesson.chain(self.chain_id)
        self.numbers = lesson.numbers(self.chain.case, self.seed)
        seed = "" if self.seed == 0 else f", seed {self.seed}"
        heading = widgets.HTML(
            f'<style>{_STYLE}</style><div class="lkx-text"><h4>{escape(self.chain.title)} '
            f'<span class="id">{escape(self.chain_id)}{seed}</span></h4>'
            f"<p>{escape(fill(self.chain.case.text, self.numbers))}</p></div>"
        )
        self.shown = widgets.VBox()
        again = _button("New numbers", "The same task, other numbers", self.renew, self)
        self.reply = widgets.HTML()
        self.children = [heading, self.shown, again, self.reply]
        self.release()

    def renew(self) -> None:
        """Take new numbers."""
        self.seed += 1
        self.build()

    def release(self) -> None:
        """Show the steps up to the first that is still to be answered."""
        shown = list(self.shown.children)
        for place, step in enumerate(self.chain.steps[len(shown) :], len(shown)):
            if shown and not self._done(place - 1):
                break
            if step.item is None:
                text = f"Step {place + 1}, {step.name}: {fill(step.worked, self.numbers)}"
                shown.append(
                    widgets.HTML(f'<div class="lkx-text"><p>{escape(text)}</p></div>')
                )
                continue
            shown.append(_control(step.item, self.seed, self.desk, self))
        self.shown.children = shown

    def heading_of(self, item_id: str) -> str:
        """Return number and name of the step that an item asks for."""
        places = [place for place, step in enumerate(self.chain.steps) if step.item == item_id]
        return f"Step {places[0] + 1}, {self.chain.steps[places[0]].name}"

    def _done(self, place: int) -> bool:
        item_id = self.chain.steps[place].item
        return item_id is None or self.desk.done(item_id, self.seed)


def _radio(item, numbers, seed: int) -> widgets.RadioButtons:
    options = [(fill(option.text, numbers), option.key) for option in item.arranged(seed)]
    return widgets.RadioButtons(
        options=[*options, (NOT_SURE, NOT_SURE)],
        value=None,
        layout=widgets.Layout(width="auto"),
        tooltip="Choose one",
    )


def _cell_text(text: str, *, bold: bool = False) -> widgets.HTML:
    text = escape(text)
    return widgets.HTML(f'<div class="lkx-text">{f"<b>{text}</b>" if bold else text}</div>')


def _reply_html(words: str, verdict: Verdict | None, released: str = "") -> str:
    words = escape(words)
    if verdict is not None and words.startswith(escape(verdict.value)):
        word = escape(verdict.value)
        words = f"<b>{word}</b>{words[len(word):]}"
    released = f"<pre>{escape(released)}</pre>" if released else ""
    return f'<div class="lkx-reply" role="status" aria-live="polite">{words}{released}</div>'


def _button(
    text: str, tooltip: str, action: Callable[[], None], owner, style: str = ""
) -> widgets.Button:
    """Return a button whose errors are shown in words; otherwise they would vanish."""
    button = widgets.Button(description=text, tooltip=tooltip, button_style=style)
    button.layout.width = "auto"

    def pressed(_button: widgets.Button) -> None:
        try:
            action()
        except Exception as problem:
            logging.getLogger(__name__).exception("a control failed")
            words = f"This did not work: {type(problem).__name__}: {problem}"
            owner.reply.value = _reply_html(words, None)

    button.on_click(pressed)
    return button


def _write_beside(folder: Path, name: str, text: str) -> Path:
    """Write a new file, whole or not at all, and never over one that is there."""
    path, count = folder / f"{name}.md", 1
    while path.exists():
        count += 1
        path = folder / f"{name}-{count}.md"
    part = path.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)
    return path


def _control(
    item_id: str, seed: int | None, desk: Session, chain: _StepsControl | None = None
) -> _Exercise:
    item = lesson_of(item_id).item(item_id)
    if isinstance(item, Prediction):
        return _PredictionControl(item_id, None, seed, desk)
    kinds = {
        Choice: _ChoiceControl, Numeric: _NumericControl, Order: _OrderControl,
        Table: _TableControl,
    }
    return kinds[type(item)](item_id, seed, desk, chain)


def ask(*item_ids: str, seed: int | None = None, desk: Session | None = None) -> widgets.VBox:
    """Show one or more exercises with their controls.

    Parameters
    ----------
    *item_ids : str
        Identifiers of items, such as ``01-downtime``.
    seed : int or None
        Which numbers; None for the seed of the session.
    desk : Session or None
        The session that judges; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        The control, or a box of several; its text form is the task.

    Raises
    ------
    ValueError
        Where there is no such item, or none is named.

    Examples
    --------
    >>> control = ask("01-downtime", desk=Session())
    >>> control.box.value = "35 min/a"
    >>> control.check()
    >>> "Right" in control.reply.value
    True
    """
    if not item_ids:
        raise ValueError("item_ids must name at least one item, got none")
    desk = desk or session()
    controls = [_control(item_id, seed, desk) for item_id in item_ids]
    return controls[0] if len(controls) == 1 else _several(controls)


def _several(controls: list[_Box]) -> _Box:
    box = _Box("\n\n".join(map(repr, controls)))
    box.remove_class("lkx")
    box.children = controls
    return box


def predict_first(
    item_id: str,
    panel: Callable[[], widgets.Widget] | None = None,
    *,
    seed: int | None = None,
    desk: Session | None = None,
) -> widgets.VBox:
    """Show a prediction; the panel opens once it is committed, or by leave without predicting.

    Parameters
    ----------
    item_id : str
        Identifier of a prediction.
    panel : callable or None
        Returns the panel on which the run is observed; None for the run as text.
    seed : int or None
        Which numbers; None for the seed of the session.
    desk : Session or None
        The session that keeps it; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        The control; its text form is the task.

    Raises
    ------
    ValueError
        Where there is no such item, or it is no prediction.

    Examples
    --------
    >>> control = predict_first("01-first-failures", desk=Session())
    >>> control.skip()
    >>> "Shown without predicting" in control.reply.value
    True
    """
    if not isinstance(lesson_of(item_id).item(item_id), Prediction):
        raise ValueError(f"item_id must name a prediction, got {item_id!r}")
    return _PredictionControl(item_id, panel, seed, desk or session())


def steps(chain_id: str, *, seed: int | None = None, desk: Session | None = None) -> widgets.VBox:
    """Show a chain of steps; each is released when the one before is done.

    Parameters
    ----------
    chain_id : str
        Identifier of the chain, such as ``01-turn-1``.
    seed : int or None
        Which numbers; None for the seed of the session.
    desk : Session or None
        The session that judges; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        The control; its text form is the case and the first step.

    Raises
    ------
    ValueError
        Where there is no such chain.

    Examples
    --------
    >>> len(steps("01-turn-1", desk=Session()).shown.children)
    1
    """
    return _StepsControl(chain_id, seed, desk or session())


def recall(lesson_number: str, *, desk: Session | None = None) -> widgets.VBox:
    """Show the three questions that open a lesson.

    Parameters
    ----------
    lesson_number : str
        Two digits.
    desk : Session or None
        The session that judges; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        Three exercises; its text form is their tasks.

    Raises
    ------
    ValueError
        Where there is no such lesson.

    Examples
    --------
    >>> len(recall("01", desk=Session()).children)
    3
    """
    desk = desk or session()
    return _several([_control(item_id, None, desk) for item_id in desk.recall(lesson_number)])
