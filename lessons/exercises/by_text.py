"""Exercises that answer: tasks, checks, hints, predictions, and their controls.

By text everything works without controls::

    from lessons.exercises.by_text import check
    check("01-downtime", "35 min/a")

In a notebook, ``ask("01-downtime")`` shows the same task with its controls. Controls are loaded
where they are first used, so that this package can be imported without them.
"""

from lessons.exercises.replies import Reply
from lessons.exercises.session import session


class _Text(str):
    """A text that a notebook shows line by line, and not in quotes."""

    __slots__ = ()
    __repr__ = str.__str__


def task(item_id: str, seed: int | None = None) -> str:
    """Return a task as text.

    Parameters
    ----------
    item_id : str
        Identifier of an item or of a chain, such as ``01-downtime``.
    seed : int or None
        Which numbers: 0 for those of the plant, any other integer for a variant; None for the
        seed of the session.

    Returns
    -------
    str
        Title, situation, question, and how to answer.

    Raises
    ------
    ValueError
        Where there is no such item.

    Examples
    --------
    >>> print(task("01-downtime").splitlines()[2])
    How long is it down in a year on the average?
    """
    return _Text(session().task(item_id, seed))


def check(item_id: str, answer: object = None, seed: int | None = None) -> Reply:
    """Judge an answer.

    Parameters
    ----------
    item_id : str
        Identifier of the item.
    answer : object
        A text for most items, a mapping for a table; ``...`` or nothing counts as blank.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    Reply
        Feedback in three parts.

    Raises
    ------
    ValueError
        Where there is no such item.

    Examples
    --------
    >>> check("01-downtime", ...)
    Not answered yet. Answer in the box, or by text.
    """
    return session().check(item_id, answer, seed)


def hint(item_id: str, seed: int | None = None) -> Reply:
    """Return the next hint of an item: pointer, relation, full route.

    Parameters
    ----------
    item_id : str
        Identifier of the item.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    Reply
        The hint.

    Raises
    ------
    ValueError
        Where there is no such item.

    Examples
    --------
    >>> hint("01-mttr", seed=3).next_step
    'Look at the clock: when does the time start, and when does it end?'
    """
    return session().hint(item_id, seed)


def skip(item_id: str, seed: int | None = None) -> Reply:
    """Show a run without a prediction; recorded as skipped, never as wrong.

    Parameters
    ----------
    item_id : str
        Identifier of a prediction.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    Reply
        With the run as text.

    Raises
    ------
    ValueError
        Where there is no such item, or it is no prediction.

    Examples
    --------
    >>> skip("01-first-failures").verdict
    <Verdict.SKIPPED: 'Shown without predicting'>
    """
    return session().skip(item_id, seed)


def observe(item_id: str, ticked: object = (), seed: int | None = None) -> Reply:
    """Set prediction, reason and observation side by side with what the run shows.

    Parameters
    ----------
    item_id : str
        Identifier of a prediction.
    ticked : str or iterable of str
        Numbers of the statements that were seen to hold, such as ``"1 3"``, or ``"none"``.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    Reply
        The comparison.

    Raises
    ------
    ValueError
        Where there is no such item, or it is no prediction.

    Examples
    --------
    >>> observe("01-first-failures", "1 3").score
    1.0
    """
    return session().observe(item_id, ticked, seed)


def rate(item_id: str, ticked: object = None, seed: int | None = None) -> Reply:
    """Keep how you rate your own free text beside the model answer.

    Parameters
    ----------
    item_id : str
        Identifier of a table with a free cell.
    ticked : str or iterable of str
        Numbers of the criteria that your text meets, such as ``"1 3"``, or ``"none"``.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    Reply
        What was noted; a free text is never marked right or wrong.

    Raises
    ------
    ValueError
        Where there is no such item, or it has no free text.

    Examples
    --------
    >>> rate("01-card", "1 2").shows
    '2 of 3 criteria are met.'
    """
    return session().rate(item_id, ticked, seed)


def paper(item_id: str, seed: int | None = None) -> str:
    """Return the table that was filled last, as a piece of paper to keep.

    Parameters
    ----------
    item_id : str
        Identifier of a table.
    seed : int or None
        Which numbers; None for the seed of the session.

    Returns
    -------
    str
        Markdown.

    Raises
    ------
    ValueError
        Where there is no such item, or it is no table.

    Examples
    --------
    >>> paper("01-card").splitlines()[0]
    '# Availability card'
    """
    return _Text(session().paper(item_id, seed))


def my_record(action: str = "", value: object = ""):
    """Show your record, or do something with it: report, table, hand in, take in, label, delete.

    Parameters
    ----------
    action : str
        "report", "table", "hand in", "take in", "label" or "delete"; empty to show the record
        with its controls.
    value : object
        For the first three a folder to write to; then the file to take in, the label, and the
        number of actions that are to be deleted. Empty for the folder of the notebook.

    Returns
    -------
    ipywidgets.VBox or str
        The control, whose text form says where the record lies and how far each lesson is; or
        what was done.

    Raises
    ------
    ValueError
        Where there is no such action.

    Examples
    --------
    >>> my_record("label", " ")
    Not changed: label must not be empty, got ' '.
    """
    if action:
        from lessons.exercises.record_actions import act

        return _Text(act(session().recorder, action, value))
    from lessons.exercises.record_control import RecordControl

    return RecordControl(session().recorder)
