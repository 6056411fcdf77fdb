"""What a learner does with the own record, by text: look, hand in, take in, name, delete."""

import os
import uuid
from collections.abc import Callable

from labkit.arguments import one_of
from labkit.reading import read_utf8
from labkit.writing import safe_text, stem_of, write_new
from lessons.exercises.learner_record import NO_LABEL, LearnerRecord, minutes_active
from lessons.exercises.progress import begun_lessons, changed_text, lesson_progress, trouble_text

HAND_IN_VARIABLE = "WORKBOOK_HAND_IN"
WRITTEN = "Written"
IN_MEMORY = (
    "Kept in memory only, as long as this notebook runs: no folder is named. "
    "`workbook` names one; elsewhere the variable WORKBOOK_RECORD does, before the start."
)


ACTIONS = {
    "'report'": "write one page to print",
    "'table'": "write every action as a table, CSV",
    "'hand in'": "write one file to hand in, or to go on with on another machine",
    "'hand in', 'FOLDER'": "write it there; the two others can do the same",
    "'take in', 'FILE'": "take such a file in and go on from there",
    "'label', '7'": "call the record so; it need not be a name",
    "'delete'": "delete it with all its copies; asks first",
}


def record_text(record: LearnerRecord) -> str:
    """Return where a record lies, how far each lesson is, and what can be done with it.

    >>> print(record_text(LearnerRecord(label="7")).splitlines()[-1].strip())
    my_record('delete'): delete it with all its copies; asks first
    """
    changed = changed_text(record.attempts()).splitlines()
    return "\n".join((*state_lines(record), *changed, "By text:", *(
        f"  my_record({call}): {what}" for call, what in ACTIONS.items())))


def state_lines(record: LearnerRecord) -> list[str]:
    """Return where a record lies and how far each lesson is, line by line.

    >>> state_lines(LearnerRecord())[0]
    'Your record'
    """
    attempts = record.attempts()
    where = IN_MEMORY if record.path is None else f"Kept in {record.path}, and nowhere else."
    lines = [
        "Your record", where, trouble_text(record),
        (f"Label: {record.label}. Actions: {len(attempts)}. Minutes active: "
         f"{minutes_active(attempts):.0f}."),
    ]
    for number in begun_lessons(attempts):
        lesson = lesson_progress(number, attempts)
        counts = {"missed": len(lesson.missed), "begun": len(lesson.begun)}
        lines.append(", ".join((
            f"{number} {lesson.title}: done {len(lesson.done)} of {lesson.count}",
            *(f"{word} {count}" for word, count in counts.items() if count))))
    return list(filter(None, lines))


def act(record: LearnerRecord, action: str, value: object = "") -> str:
    """Do something with a record, and say what was done.

    Parameters
    ----------
    action : str
        "report", "table", "hand in", "take in", "label" or "delete".
    value : object
        For the first three the folder to write to, this one if empty; then the file to take in,
        the label, and how many actions are to be deleted.

    Raises
    ------
    ValueError
        Where there is no such action.

    >>> act(LearnerRecord(), "label", "7")
    'Label: 7.'
    """
    actions: dict[str, Callable[[LearnerRecord, object], str]] = {
        "report": _report, "table": _table, "hand in": _hand_in, "take in": _take_in_file,
        "label": _label, "delete": delete,
    }
    said = actions[one_of("action", action, actions)](record, value)
    return said if action == "delete" else safe_text(f"{said} {record.problem}".strip())


def _report(record: LearnerRecord, folder: object) -> str:
    from lessons.exercises.report import report_html

    return _written(record, folder, "report", ".html", report_html(record))


def _table(record: LearnerRecord, folder: object) -> str:
    return _written(record, folder, "actions", ".csv", record.to_csv())


def _hand_in(record: LearnerRecord, folder: object) -> str:
    if record.label == NO_LABEL:
        # Two learners of one label count as one in a class.
        record.label = f"{NO_LABEL}-{uuid.uuid4().hex[:6]}"
    # On a class server there is one folder for it, which the instructor reads.
    folder = str(folder).strip() or os.environ.get(HAND_IN_VARIABLE, "")
    said = _written(record, folder, "hand-in", ".json", record.to_bundle())
    if not said.startswith(WRITTEN):
        return said
    return (f"{said} It holds your answers under the label {record.label}. Its checksum finds "
            "damage; it is no protection.")


def _written(record: LearnerRecord, folder: object, name: str, suffix: str, text: str) -> str:
    label = stem_of(record.label, NO_LABEL, "-")
    folder = os.path.abspath(os.path.expanduser(str(folder).strip()))
    try:
        path = write_new(folder, f"{name}-{label}{suffix}", text)
    except (OSError, ValueError) as problem:
        why = getattr(problem, "strerror", None) or "no folder can have that name"
        return f"Not written: {folder} cannot be used ({why}). Name another folder."
    return f"{WRITTEN}: {path}."


def _take_in_file(record: LearnerRecord, file: object) -> str:
    if not str(file).strip():
        return "Nothing taken in: name the file that was written by 'hand in'."
    try:
        text = read_utf8(os.path.expanduser(str(file)))
    except OSError as problem:
        return f"Nothing taken in: {file} cannot be read ({problem.strerror})."
    except ValueError as problem:
        return _not_taken_in(f"{problem} ({file})")
    return take_in(record, text)


def take_in(record: LearnerRecord, text: str) -> str:
    """Take the text of a bundle into a record, and say what came of it.

    >>> take_in(LearnerRecord(), LearnerRecord(label="7").to_bundle())
    'Taken in: new actions 0, label 7.'
    """
    try:
        count = record.take_bundle(text)
    except ValueError as problem:
        return _not_taken_in(problem)
    return f"Taken in: new actions {count}, label {record.label}."


def _not_taken_in(why: object) -> str:
    return f"Nothing taken in: {why}. Choose a file that was made by Hand in, such as hand-in-7.json."


def _label(record: LearnerRecord, label: object) -> str:
    try:
        record.label = str(label)
    except ValueError as problem:
        return f"Not changed: {problem}."
    return f"Label: {record.label}."


def delete(record: LearnerRecord, confirmed: object = "") -> str:
    """Delete a record where the number of its actions is named; say how, where it is not.

    Parameters
    ----------
    confirmed : object
        The number of actions; so a cell that runs again later deletes nothing.

    >>> delete(LearnerRecord())
    'Nothing to delete: the record is empty.'
    """
    count = len(record.attempts())
    if count == 0 and not (record.path and record.path.exists()):
        return "Nothing to delete: the record is empty."
    if str(confirmed) != str(count):
        return (f"Not deleted yet: the record holds {count} actions. To delete them for good, "
                f"write my_record('delete', {count}).")
    record.delete()
    if record.problem:
        return f"Deleted in memory, and not on the disk: {record.folder} cannot be used."
    return (f"Deleted: the record with its copies, actions: {count}. Files that you have written, "
            "such as a report, stay where they are.")
