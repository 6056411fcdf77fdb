"""Controls for the exercises: what a notebook shows, over the same session as the text path.

Every control is a box whose text form is the task itself, so that a page without controls (an
export, a reader, a copy that was not run) still shows the task and how to answer it by text.
"""

from collections.abc import Callable
from itertools import islice

import ipywidgets as widgets

from lessons.exercises.control_frame import (
    ControlBox,
    button,
    heading,
    note,
    paragraph,
    side_by_side,
    situation,
)
from lessons.exercises.item import fill
from lessons.exercises.item_controls import ItemControl, control_for
from lessons.exercises.lookup import lesson_of
from lessons.exercises.progress import open_text, trouble_text
from lessons.exercises.session import Session, session


def ask(*item_ids: str, seed: int | None = None, fresh: int = 0,
        desk: Session | None = None) -> widgets.VBox:
    """Show one or more exercises with their controls.

    Parameters
    ----------
    *item_ids : str
        Identifiers of items, such as ``01-downtime``.
    seed : int or None
        Which numbers; None for the seed of the session.
    fresh : int
        Which numbers while the session has those of the plant, as a lesson wants them that has
        worked these out before. The seed of a class goes before it.
    desk : Session or None
        The session that judges; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        The control, or pages of several; its text form is the task, or all tasks.

    Raises
    ------
    ValueError
        Where there is no such item, none is named, or one is a fault drill, which has a panel of
        its own (`lessons.panels.drill_panel`).

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
    if seed is None and fresh and not desk.seed:
        seed = fresh
    controls = [control_for(item_id, seed, desk) for item_id in item_ids]
    return controls[0] if len(controls) == 1 else PagesControl(controls)


def predict_first(item_id: str, panel: Callable[[], widgets.Widget] | None = None, *,
                  seed: int | None = None, desk: Session | None = None) -> widgets.VBox:
    """Show a prediction; the panel opens once it is committed, or by leave without predicting.

    Parameters
    ----------
    item_id : str
        Identifier of a prediction.
    panel : callable or None
        Takes ``task``, what to do there, and returns the panel on which the run is observed;
        None for the run as text.
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
    item = lesson_of(item_id).item(item_id)
    if not item.predicts:
        raise ValueError(f"item_id must name a prediction, got {item_id!r}")
    return item.control()(item_id, seed, desk or session(), panel=panel)


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
    return StepsControl(chain_id, seed, desk or session())


def recall(lesson_number: str, *, desk: Session | None = None) -> widgets.VBox:
    """Show what is open so far, and the three questions that open a lesson.

    Parameters
    ----------
    lesson_number : str
        Two digits.
    desk : Session or None
        The session that judges; None for that of the kernel.

    Returns
    -------
    ipywidgets.VBox
        Three exercises, one page each; its text form is their tasks. Above them stands what is
        open in this lesson and those before; nothing, where the record is empty.

    Raises
    ------
    ValueError
        Where there is no such lesson.

    Examples
    --------
    >>> len(recall("01", desk=Session()).pages)
    3
    """
    desk = desk or session()
    pages = [control_for(name, None, desk) for name in desk.recall(lesson_number)]
    return PagesControl(
        pages, trouble_text(desk.recorder), open_text(desk.recorder, lesson_number))


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
        head = heading(self.chain.title, self.chain_id, self.seed,
                       situation(self.chain.case, self.numbers))
        self.shown = widgets.VBox()
        again = side_by_side(
            [button("New numbers", "The same task, other numbers", self.renew, self)]
        )
        self.reply = widgets.HTML()
        self.children = [head, self.shown, again, self.reply]
        self.release()

    def renew(self) -> None:
        """Take new numbers."""
        self.seed += 1
        self.build()

    def release(self) -> None:
        """Show the steps up to the first that is still to be answered."""
        shown = list(self.shown.children)
        for place, step in islice(self.desk.open_steps(self.chain, self.seed), len(shown), None):
            shown.append(control_for(step.item, self.seed, self.desk, self) if step.item else paragraph(
                f"Step {place}, {step.name}: {fill(step.worked, self.numbers)}"))
        self.shown.children = shown

    def heading_of(self, item_id: str) -> str:
        """Return number and name of the step that an item asks for."""
        return next(f"Step {place}, {step.name}" for place, step in enumerate(self.chain.steps, 1)
                    if step.item == item_id)


class PagesControl(ControlBox):
    """Several exercises, one on each page, so that a cell stays within a screen.

    Above each page stands what is wrong, and, folded up, what is open.
    """

    def __init__(self, pages: list[ItemControl], trouble: str = "", still_open: str = "") -> None:
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
