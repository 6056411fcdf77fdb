"""What no model can know of a lesson: the room, the words, the board, and the minutes."""

import tomllib
from collections.abc import Mapping
from importlib.resources import files

from lessons.items.own_questions import own_file

KEYS = ("situation", "formula", "formula_says", "cut", "board", "discuss", "goes_wrong", "vote",
        "demonstration")
MAY = ("runs_story", "sketch", "not_on_paper", "printed", "act")


def teacher_notes(number: str) -> Mapping[str, object]:
    """Return what no model can know of a lesson.

    Parameters
    ----------
    number : str
        Of the lesson, two digits.

    Returns
    -------
    mapping
        "situation", "formula" (TeX) and "formula_says"; "cut" (what to drop when ten minutes are
        lost: what, of which section, which items, how many minutes), "board" (a sketch in letters),
        "discuss", "goes_wrong", "demonstration" (ten minutes with one vote: minute, what to do, and
        of the step that runs what to do if it goes otherwise) and "vote" (the item of that vote).
        There may be "runs_story" (true where the demonstration is the story that `workbook
        lecture` opens), "sketch" (axes to draw on),
        "act" (for the beginning and each act of the story what to say, and what to do when it goes
        otherwise), "not_on_paper" (items that the worksheets leave out) and "printed" (items that
        need what the lesson printed last before them). A file of own questions has none.

    Raises
    ------
    ValueError
        When the lesson has no notes, or a key is missing.
    """
    if own_file(number):
        return {}
    file = files("lessons.teaching") / "notes" / f"{number}.toml"
    if not file.is_file():
        raise ValueError(f"number must be that of a lesson with notes, got {number!r}")
    notes = tomllib.loads(file.read_text("utf-8"))
    missing = [key for key in KEYS if not notes.get(key)]
    if missing or set(notes) - {*KEYS, *MAY}:
        raise ValueError(f"notes of lesson {number} must have {', '.join(KEYS)}, "
                         f"got {', '.join(notes)}")
    return notes
