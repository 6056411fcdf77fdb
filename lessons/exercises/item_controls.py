"""The controls of the types of item, and what the controls of all types share.

Handlers are methods with names, so that a test calls them and not a click. A type names its class
of controls itself; no type is named here.
"""

from collections.abc import Callable
from html import escape
from inspect import signature
from pathlib import Path

import ipywidgets as widgets

from labkit.writing import write_new
from lessons.exercises.control_frame import (
    STYLE,
    ControlBox,
    Echo,
    button,
    cell_text,
    heading,
    mark_html,
    own,
    paragraph,
    prose,
    reply_html,
    side_by_side,
    situation,
    tick_box,
)
from lessons.exercises.item import fill
from lessons.exercises.lookup import lesson_of
from lessons.exercises.replies import Reply, Verdict
from lessons.exercises.session import Session


class ItemControl(ControlBox):
    """What the controls of all types share: the task, the buttons, the reply."""

    def __init__(self, item_id: str, seed: int | None, desk: Session, chain=None) -> None:
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
        self.echo = Echo()
        self.children = [self.heading(), *self.inputs(), self.buttons(), self.reply, self.more,
                         self.echo]

    def heading(self) -> widgets.HTML:
        """Return title, situation and question; a step needs no situation of its own."""
        question = prose(fill(self.item.ask, self.numbers))
        if self.chain is not None:
            title = escape(self.chain.heading_of(self.item_id))
            return widgets.HTML(f'<div class="lkx-text"><h4>{title}</h4><p>{question}</p></div>')
        return heading(self.item.title, self.item_id, self.seed,
                       f"{situation(self.item.case, self.numbers)}<p>{question}</p>")

    def inputs(self) -> list[widgets.Widget]:
        """Return the controls that take the answer."""
        raise NotImplementedError

    def answer(self) -> object:
        """Return the answer as it stands in the controls."""
        return self.box.value

    def buttons(self) -> widgets.Widget:
        """Return the row of buttons."""
        controls = [button("Check", "Check the answer", self.check, self, "primary")]
        controls.append(button("Hint", "Show the next hint", self.hint, self))
        if self.chain is None and self.item.case.varies:
            controls.append(button("New numbers", "The same task, other numbers", self.renew, self))
        return side_by_side([*controls, *self.more_buttons()])

    def more_buttons(self) -> list[widgets.Widget]:
        """Return the buttons of this type alone."""
        return []

    def watched(self, control: widgets.Widget, mark: widgets.HTML | None = None) -> widgets.Widget:
        """Return a control whose change takes the old reply away, and the mark of its cell."""
        def changed(change: dict) -> None:
            for shown in filter(None, (self.reply, mark)):
                shown.value = ""

        control.observe(changed, "value")
        return self.echo.watch(own(control))

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
        # What a right answer brings stands below, as a control.
        return "" if self._brings(reply) else reply.released

    def follow_up(self, reply: Reply) -> None:
        """Do what a reply brings with it."""
        self.more.children = [control_for(item.id, self.seed, self.desk)
                              for item in self._brings(reply)] or self.more.children

    def _brings(self, reply: Reply) -> tuple:
        return self.item.asked_next() if reply.verdict is Verdict.RIGHT else ()


class NumericControl(ItemControl):
    """A line for a number and its unit."""

    def inputs(self) -> list[widgets.Widget]:
        asks_unit = self.item.unit and not self.item.shows_unit
        self.box = self.watched(widgets.Text(
            description="Answer",
            placeholder="number and unit" if asks_unit else "a number",
            tooltip="Type a number and its unit" if asks_unit else "Type a number",
            layout=widgets.Layout(width="320px"),
            style={"description_width": "initial"},
        ))
        shown_unit = [own(widgets.Label(self.item.unit))] if self.item.shows_unit else []
        return [side_by_side([self.box, *shown_unit])]


class ChoiceControl(ItemControl):
    """The options, none of them chosen at first."""

    def inputs(self) -> list[widgets.Widget]:
        self.box = self.watched(_radio(self.item, self.numbers, self.seed))
        return [self.box]


class OrderControl(ItemControl):
    """The cards, each a button: they are pressed one after the other."""

    def inputs(self) -> list[widgets.Widget]:
        self.placed: list[int] = []
        self.cards = {}
        for text, card in self.item.lettered_cards(self.numbers, self.seed).items():
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
        self.reply.value = ""
        for card, shown in self.cards.items():
            shown.disabled = card in self.placed
        order = " - ".join(self.item.letters(self.placed, self.seed)) or "press the cards one by one"
        self.line.value = f'<div class="lkx-text"><p>Your order: {order}</p></div>'

    def more_buttons(self) -> list[widgets.Widget]:
        return [button("Start again", "Take all cards back", self.clear, self)]

    def answer(self) -> object:
        return " ".join(self.item.letters(self.placed, self.seed))


class TableControl(ItemControl):
    """The table with a control in each open cell; own words are rated below."""

    def inputs(self) -> list[widgets.Widget]:
        self.cells, self.marks = {}, {}
        self.filled = self.desk.filled(self.item_id, self.seed)
        grid = [cell_text(fill(self.item.corner, self.numbers), bold=True)]
        grid += [cell_text(column, bold=True) for column in self.item.columns]
        for row in self.item.rows:
            grid.append(cell_text(row, bold=True))
            grid += [self._cell(row, column) for column in self.item.columns]
        widths = ["minmax(150px, 2fr)" if self._is_wide(column) else "minmax(80px, 1fr)"
                  for column in self.item.columns]
        columns = f"minmax(90px, max-content) {' '.join(widths)}"
        layout = widgets.Layout(grid_template_columns=columns, grid_gap="4px 12px", width="100%")
        table = widgets.GridBox(grid, layout=layout)
        table.add_class("lkx-table")
        return [table]

    def _is_wide(self, column: str) -> bool:
        cells = (cell for (_, its), cell in self.item.cells.items() if its == column)
        return any(len(fill(cell, self.numbers)) > 40 if isinstance(cell, str) else cell.own_words
                   for cell in cells)

    def _cell(self, row: str, column: str) -> widgets.Widget:
        cell = self.item.cells.get((row, column), "")
        if isinstance(cell, str):
            return cell_text(fill(cell, self.numbers))
        place = f"{row} / {column}"
        self.marks[place] = widgets.HTML()
        self.cells[place] = self.watched(
            cell.entry(f"{row}, {column}", self.filled.get(place, "")), self.marks[place])
        return widgets.VBox([self.cells[place], self.marks[place]])

    def answer(self) -> object:
        return {place: entry.value for place, entry in self.cells.items() if entry.value.strip()}

    def more_buttons(self) -> list[widgets.Widget]:
        keep = button("Keep as file", "Write the table into your folder", self.keep, self)
        return [keep] if self.item.kept else []

    def released_text(self, reply: Reply) -> str:
        # The criteria stand below as boxes to tick.
        return reply.released.partition("\nRate your own:")[0]

    def follow_up(self, reply: Reply) -> None:
        judged = reply.value if isinstance(reply.value, dict) else {}
        for place, mark in self.marks.items():
            mark.value = mark_html(Verdict(judged[place][1]) if place in judged else None)
        if not reply.released or self.more.children:
            return
        self.ticks = [tick_box(text) for text in self.item.criteria()]
        self.rating = widgets.HTML()
        self.more.children = [
            paragraph("Rate your own text:"),
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
            path = write_new(Path.cwd(), f"{self.item_id}.md", text)
            self.reply.value = reply_html(f"Kept: {path.name}, beside this notebook.", None)
        except OSError as problem:
            words = f"Not kept: {problem.strerror}. The table stands below; copy it from there."
            self.reply.value = reply_html(words, None, text)


class PredictionControl(ItemControl):
    """Commit first; then the panel, the list of observations, and the comparison."""

    def __init__(self, item_id, seed, desk, chain=None, *, panel=None) -> None:
        self.panel = panel
        super().__init__(item_id, seed, desk, chain)

    def inputs(self) -> list[widgets.Widget]:
        """Return the options and the line of reason."""
        self.box = self.watched(_radio(self.item, self.numbers, self.seed))
        self.because = self.watched(widgets.Text(
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
        self.commit_button = button("Commit", "Commit the prediction and open the run",
                                    self.check, self, "primary")
        self.skip_button = button("Show me without predicting", "Open the run; recorded as skipped",
                                  self.skip, self)
        row = [self.commit_button, self.skip_button]
        if self.desk.predicted(self.item_id, self.seed):
            row.append(button("Open the run again", "With the prediction that you committed before",
                              self.again, self))
        return side_by_side(row)

    def skip(self) -> None:
        """Open the run without a prediction."""
        self.show(self.desk.skip(self.item_id, self.seed))

    def again(self) -> None:
        """Open the run with the prediction that was committed before."""
        before = self.desk.predicted(self.item_id, self.seed)
        # Since the button was drawn the run may have been shown without, or the record deleted.
        shows = f"you expected: {self.item.told(*before, self.numbers)}" if before else \
            "nothing is committed here any more."
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
        # The question is one line from here on; what it asked can be opened.
        self.children = [self.folded(), self.reply, self.more]
        seen = {each.key: fill(each.text, self.numbers) for each in self.item.statements}
        self.ticks = {key: tick_box(text) for key, text in seen.items()}
        asked = [paragraph("Tick what you saw."), *self.ticks.values()]
        task = fill(self.item.at_panel, self.numbers)
        if self.panel is None:
            self.run = widgets.HTML(reply_html("The run in words.", None,
                                               self.item.run(self.numbers)))
        elif "ticks" in signature(self.panel).parameters:
            # What is to be seen stands beside the picture in which it is seen.
            self.run = self.panel(task=task, ticks=[*seen.values()])
            asked = []
        else:
            self.run = self.panel(task=task)
        self.comparison = widgets.HTML()
        self.more.children = [
            self.run,
            *asked,
            side_by_side([button("Compare", "Prediction and observation", self.compare, self,
                                 "primary")]),
            self.comparison,
        ]

    def folded(self) -> widgets.HTML:
        """Return the question as one line that can be opened."""
        texts = self.item.lettered_options(self.numbers, self.seed)
        options = "".join(f"<p>{prose(text)}</p>" for text in texts)
        return widgets.HTML(
            f"<style>{STYLE}</style><details class='lkx-text'><summary><b>"
            f"{escape(self.item.title)}</b>, the question</summary>"
            f"<p>{prose(fill(self.item.ask, self.numbers))}</p>{options}</details>")

    def compare(self) -> None:
        """Set prediction, reason and observation side by side with the run."""
        beside = getattr(self.run, "ticked", ())
        ticked = [key for i, (key, box) in enumerate(self.ticks.items())
                  if box.value or i in beside] or "none"
        reply = self.desk.observe(self.item_id, ticked, self.seed)
        self.comparison.value = reply_html(reply.feedback, reply.verdict, rows=reply.rows)


def _radio(item, numbers, seed: int) -> widgets.RadioButtons:
    return widgets.RadioButtons(options=list(item.lettered_options(numbers, seed).items()),
                                value=None, layout=widgets.Layout(width="auto"),
                                tooltip="Choose one")


def control_for(item_id: str, seed: int | None, desk: Session, chain=None) -> ItemControl:
    """Return the control for an item of any type.

    >>> type(control_for("01-downtime", None, Session())).__name__
    'NumericControl'
    """
    return lesson_of(item_id).item(item_id).control()(item_id, seed, desk, chain)
