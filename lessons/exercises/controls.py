"""Controls for the exercises: what a notebook shows, over the same session as the text path.

Every control is a box whose text form is the task itself, so that a page without controls (an
export, a reader, a copy that was not run) still shows the task and how to answer it by text.
"""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from lessons.exercises.kinds import PagesControl, PredictionControl, StepsControl, control_for
from lessons.exercises.lookup import lesson_of
from lessons.exercises.predicting import Prediction
from lessons.exercises.progress import open_text, trouble_text
from lessons.exercises.session import Session, session

__all__ = ["ask", "predict_first", "recall", "steps"]


def ask(
    *item_ids: str, seed: int | None = None, fresh: int = 0, desk: Session | None = None
) -> widgets.VBox:
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
    if not isinstance(lesson_of(item_id).item(item_id), Prediction):
        raise ValueError(f"item_id must name a prediction, got {item_id!r}")
    return PredictionControl(item_id, panel, seed, desk or session())


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
