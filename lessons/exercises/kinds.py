"""One control for each type of item, and one for a chain of steps.

Handlers are methods with names, so that a test calls them and not a click.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from lessons.exercises.choosing import LETTERS, NOT_SURE, Choice, lettered
from lessons.exercises.control_frame import (
    STYLE,
    ControlBox,
    button,
    cell_text,
    note,
    own,
    prose,
    reply_html,
    side_by_side,
)
from lessons.exercises.drilling import Drill
from lessons.exercises.item import Verdict, fill
from lessons.exercises.lookup import lesson_of
from lessons.exercises.numeric import Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction
from lessons.exercises.record_actions import write_beside
from lessons.exercises.replies import Reply
from lessons.exercises.session import Session
from lessons.exercises.table import Free, Pick, Table

__all__ = ["PagesControl", "PredictionControl", "StepsControl", "control_for"]


class _Exercise(ControlBox):
    """What the controls of all types share: the task, the buttons, the reply."""

    def __init__(
        self, item_id: str, seed: int | None, desk: Session, chain: StepsControl | None = None
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
            prose(fill(text, self.numbers)) for text in (self.item.case.text, self.item.ask)
        )
        if self.chain is not None:
            title = escape(self.chain.heading_of(self.item_id))
            return widgets.HTML(f'<div class="lkx-text"><h4>{title}</h4><p>{question}</p></div>')
        seed = "" if self.seed == 0 else f", seed {self.seed}"
        return widgets.HTML(
            f'<style>{STYLE}</style><div class="lkx-text"><h4>{escape(self.item.title)} '
            f'<span class="id">{escape(self.item_id)}{seed}</span></h4>'
            + self.situation(situation)
            + f"<p>{question}</p></div>"
        )

    def situation(self, words: str) -> str:
        """Return the situation as a picture, or in words where there is none."""
        if self.item.case.picture is not None:
            return self.item.case.picture(self.numbers)
        return f"<p>{words}</p>" if words else ""

    def inputs(self) -> list[widgets.Widget]:
        """Return the controls that take the answer."""
        raise NotImplementedError

    def answer(self) -> object:
        """Return the answer as it stands in the controls."""
        raise NotImplementedError

    def buttons(self) -> widgets.Widget:
        """Return the row of buttons."""
        controls = [button("Check", "Check the answer", self.check, self, "primary")]
        controls.append(button("Hint", "Show the next hint", self.hint, self))
        if self.chain is None and len(list(self.item.case.draws(1))) > 1:
            controls.append(button("New numbers", "The same task, other numbers", self.renew, self))
        return side_by_side(controls)

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
        self.reply.value = reply_html(reply.feedback, reply.verdict, released)
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
        asks_unit = self.item.unit and not self.item.shows_unit
        self.box = own(widgets.Text(
            description="Answer",
            placeholder="number and unit" if asks_unit else "a number",
            tooltip="Type a number and its unit" if asks_unit else "Type a number",
            layout=widgets.Layout(width="320px"),
            style={"description_width": "initial"},
        ))
        shown_unit = [own(widgets.Label(self.item.unit))] if self.item.shows_unit else []
        return [side_by_side([self.box, *shown_unit])]

    def answer(self) -> object:
        return self.box.value

    def released_text(self, reply: Reply) -> str:
        return "" if self.item.rough and reply.verdict is Verdict.RIGHT else reply.released

    def follow_up(self, reply: Reply) -> None:
        if self.item.rough and reply.verdict is Verdict.RIGHT:
            self.more.children = [control_for(f"{self.item_id}.size", self.seed, self.desk)]


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
            self.cards[card] = button(text, "Put this card next", self._placer(card), self)
            self.cards[card].layout.width = None
            self.cards[card].add_class("lkx-card")
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
        for card, shown in self.cards.items():
            shown.disabled = card in self.placed
        order = " - ".join(LETTERS[letters.index(card)] for card in self.placed)
        order = order or "press the cards one by one"
        self.line.value = f'<div class="lkx-text"><p>Your order: {order}</p></div>'

    def buttons(self) -> widgets.Widget:
        row = super().buttons()
        again = button("Start again", "Take all cards back", self.clear, self)
        row.children = [*row.children, again]
        return row

    def answer(self) -> object:
        letters = self.item.arranged(self.seed)
        return " ".join(LETTERS[letters.index(card)] for card in self.placed)


class _TableControl(_Exercise):
    def inputs(self) -> list[widgets.Widget]:
        self.cells = {}
        self.filled = self.desk.filled(self.item_id, self.seed)
        grid = [cell_text(fill(self.item.corner, self.numbers), bold=True)]
        grid += [cell_text(column, bold=True) for column in self.item.columns]
        for row in self.item.rows:
            grid.append(cell_text(row, bold=True))
            grid += [self._cell(row, column) for column in self.item.columns]
        widths = [
            "minmax(150px, 2fr)" if self._is_free(column) else "minmax(92px, 1fr)"
            for column in self.item.columns
        ]
        columns = f"minmax(110px, max-content) {' '.join(widths)}"
        layout = widgets.Layout(grid_template_columns=columns, grid_gap="4px 12px", width="100%")
        table = widgets.GridBox(grid, layout=layout)
        table.add_class("lkx-table")
        return [table]

    def _is_free(self, column: str) -> bool:
        cells = (self.item.cells.get((row, column)) for row in self.item.rows)
        return any(isinstance(cell, Free) for cell in cells)

    def _cell(self, row: str, column: str) -> widgets.Widget:
        cell = self.item.cells.get((row, column), "")
        if isinstance(cell, str):
            return cell_text(fill(cell, self.numbers))
        name = f"{row}, {column}"
        wide = widgets.Layout(width="auto")
        if isinstance(cell, Pick):
            options = [("choose", ""), *((text, text) for text in cell.options)]
            wide.max_width = "320px"
            entry = widgets.Dropdown(options=options, value="", tooltip=name, layout=wide)
        elif isinstance(cell, Free):
            entry = widgets.Textarea(
                placeholder="your own words", tooltip=name, rows=3, layout=wide
            )
        else:
            entry = widgets.Text(placeholder=f"in {cell.unit}", tooltip=name, layout=wide)
        place = f"{row} / {column}"
        said = self.filled.get(place, "")
        if not isinstance(cell, Pick) or said in cell.options:
            entry.value = said
        self.cells[place] = own(entry)
        return entry

    def answer(self) -> object:
        return {place: entry.value for place, entry in self.cells.items() if entry.value.strip()}

    def buttons(self) -> widgets.Widget:
        row = super().buttons()
        if not self.item.kept:
            return row
        keep = button("Keep as file", "Write the table into your folder", self.keep, self)
        row.children = [*row.children, keep]
        return row

    def released_text(self, reply: Reply) -> str:
        # The criteria stand below as boxes to tick.
        return reply.released.partition("\nRate your own:")[0]

    def follow_up(self, reply: Reply) -> None:
        if not reply.released or self.more.children:
            return
        self.ticks = [
            own(widgets.Checkbox(
                description=text, value=False, indent=False, layout=widgets.Layout(width="auto")
            ))
            for text in self.item.criteria()
        ]
        self.rating = widgets.HTML()
        self.more.children = [
            widgets.HTML('<div class="lkx-text"><p>Rate your own text:</p></div>'),
            *self.ticks,
            side_by_side([button("Rate", "Keep your own rating", self.rate, self)]),
            self.rating,
        ]

    def rate(self) -> None:
        """Keep the learner's own rating of the free text."""
        ticked = [tick.description for tick in self.ticks if tick.value] or "none"
        reply = self.desk.rate(self.item_id, ticked, self.seed)
        self.rating.value = reply_html(reply.feedback, reply.verdict)

    def keep(self) -> None:
        """Write the table as it stands into the working folder, beside what is there."""
        text = self.item.paper(self.answer(), self.numbers)
        try:
            path = write_beside(Path.cwd(), self.item_id, text)
            self.reply.value = reply_html(f"Kept: {path.name}, beside this notebook.", None)
        except OSError as problem:
            words = f"Not kept: {problem.strerror}. The table stands below; copy it from there."
            self.reply.value = reply_html(words, None, text)


class PredictionControl(_Exercise):
    """Commit first; then the panel, the list of observations, and the comparison."""

    def __init__(self, item_id, panel, seed, desk) -> None:
        self.panel = panel
        super().__init__(item_id, seed, desk)

    def inputs(self) -> list[widgets.Widget]:
        """Return the options and the line of reason."""
        self.box = _radio(self.item, self.numbers, self.seed)
        self.because = own(widgets.Text(
            description="Because",
            placeholder="one line of reason",
            tooltip="Why you expect it",
            style={"description_width": "initial"},
            layout=widgets.Layout(width="auto", max_width="620px"),
        ))
        return [self.box, self.because]

    def answer(self) -> object:
        """Return option and reason as the text path takes them."""
        if self.box.value is None:
            return ""
        return f"{self.box.value} because {self.because.value}"

    def buttons(self) -> widgets.Widget:
        """Return the two ways to open the run."""
        self.commit_button = button(
            "Commit", "Commit the prediction and open the run", self.check, self, "primary"
        )
        self.skip_button = button(
            "Show me without predicting", "Open the run; recorded as skipped", self.skip, self
        )
        self.skip_button.layout.width = "auto"
        row = [self.commit_button, self.skip_button]
        if self.desk.predicted(self.item_id, self.seed):
            row.append(button(
                "Open the run again", "With the prediction that you committed before",
                self.again, self))
        return side_by_side(row)

    def skip(self) -> None:
        """Open the run without a prediction."""
        self.show(self.desk.skip(self.item_id, self.seed))

    def again(self) -> None:
        """Open the run with the prediction that was committed before."""
        key, because = self.desk.predicted(self.item_id, self.seed)
        shows = f"you expected: {self.item.said(key, self.numbers)}. Because: {because}."
        self.show(Reply(Verdict.NOTED, shows, "Now observe."))

    def released_text(self, reply: Reply) -> str:
        """Return nothing: the run opens below, as a panel."""
        return ""

    def follow_up(self, reply: Reply) -> None:
        """Open the run once the prediction is committed or skipped."""
        if reply.verdict not in (Verdict.NOTED, Verdict.SKIPPED):
            return
        for control in (self.box, self.because, self.commit_button, self.skip_button):
            control.disabled = True
        self.ticks = {
            s.key: own(widgets.Checkbox(
                description=fill(s.text, self.numbers), value=False, indent=False,
                layout=widgets.Layout(width="auto"),
            ))
            for s in self.item.statements
        }
        if self.panel is None:
            run = widgets.HTML(reply_html("The run in words.", None, self.item.run(self.numbers)))
        else:
            run = self.panel(task=self.item.at_panel)
        self.comparison = widgets.HTML()
        self.more.children = [
            run,
            widgets.HTML('<div class="lkx-text"><p>Tick what you saw.</p></div>'),
            *self.ticks.values(),
            side_by_side(
                [button("Compare", "Prediction and observation", self.compare, self, "primary")]
            ),
            self.comparison,
        ]

    def compare(self) -> None:
        """Set prediction, reason and observation side by side with the run."""
        ticked = [key for key, box in self.ticks.items() if box.value] or "none"
        reply = self.desk.observe(self.item_id, ticked, self.seed)
        self.comparison.value = reply_html(reply.feedback, reply.verdict, rows=reply.rows)


class StepsControl(ControlBox):
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
            f'<style>{STYLE}</style><div class="lkx-text"><h4>{escape(self.chain.title)} '
            f'<span class="id">{escape(self.chain_id)}{seed}</span></h4>'
            f"<p>{prose(fill(self.chain.case.text, self.numbers))}</p></div>"
        )
        self.shown = widgets.VBox()
        again = side_by_side(
            [button("New numbers", "The same task, other numbers", self.renew, self)]
        )
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
                    widgets.HTML(f'<div class="lkx-text"><p>{prose(text)}</p></div>')
                )
                continue
            shown.append(control_for(step.item, self.seed, self.desk, self))
        self.shown.children = shown

    def heading_of(self, item_id: str) -> str:
        """Return number and name of the step that an item asks for."""
        places = [place for place, step in enumerate(self.chain.steps) if step.item == item_id]
        return f"Step {places[0] + 1}, {self.chain.steps[places[0]].name}"

    def _done(self, place: int) -> bool:
        item_id = self.chain.steps[place].item
        return item_id is None or self.desk.done(item_id, self.seed)


class PagesControl(ControlBox):
    """Several exercises, one on each page, so that a cell stays within a screen.

    Above each page stands what is wrong, and, folded up, what is open.
    """

    def __init__(self, pages: list[_Exercise], trouble: str = "", still_open: str = "") -> None:
        super().__init__("\n\n".join(filter(None, (trouble, still_open, *map(repr, pages)))))
        self.pages = pages
        self.before = [note(trouble)] if trouble else []
        self.before += [note(still_open, folded=True)] if still_open else []
        self.reply = widgets.HTML()
        self.place = widgets.HTML()
        self.back_button = button("Back", "The question before", self.back, self)
        self.next_button = button("Next", "The next question", self.forward, self)
        self.turn_to(0)

    def turn_to(self, number: int) -> None:
        """Show the page of this number, counted from 0."""
        self.number = number
        self.back_button.disabled = number == 0
        self.next_button.disabled = number == len(self.pages) - 1
        self.place.value = (
            f'<div class="lkx-text">Question {number + 1} of {len(self.pages)}</div>'
        )
        row = side_by_side([self.place, self.back_button, self.next_button])
        row.layout.align_items = "center"
        self.children = [*self.before, row, self.pages[number], self.reply]

    def back(self) -> None:
        """Show the page before."""
        self.turn_to(max(self.number - 1, 0))

    def forward(self) -> None:
        """Show the next page."""
        self.turn_to(min(self.number + 1, len(self.pages) - 1))


def _radio(item, numbers, seed: int) -> widgets.RadioButtons:
    options = item.arranged(seed)
    texts = lettered([*(fill(option.text, numbers) for option in options), NOT_SURE])
    return own(widgets.RadioButtons(
        options=list(zip(texts, [*(option.key for option in options), NOT_SURE], strict=True)),
        value=None,
        layout=widgets.Layout(width="auto"),
        tooltip="Choose one",
    ))


def control_for(
    item_id: str, seed: int | None, desk: Session, chain: StepsControl | None = None
) -> _Exercise:
    """Return the control for an item of any type.

    Examples
    --------
    >>> type(control_for("01-downtime", None, Session())).__name__
    '_NumericControl'
    """
    item = lesson_of(item_id).item(item_id)
    if isinstance(item, Prediction):
        return PredictionControl(item_id, None, seed, desk)
    if isinstance(item, Drill):
        raise ValueError(
            f"item_id must not name a fault drill, got {item_id!r}: it has a panel of its own. "
            f"from lessons.panels.drill_panel import drill_panel; drill_panel({item_id!r})")
    kinds = {
        Choice: _ChoiceControl, Numeric: _NumericControl, Order: _OrderControl,
        Table: _TableControl,
    }
    return kinds[type(item)](item_id, seed, desk, chain)
