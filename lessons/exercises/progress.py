"""How far a learner is: what is done, what is open, and what has changed since it was answered."""

from collections.abc import Iterable
from dataclasses import dataclass

from lessons.exercises.attempts import Attempt, Recorder
from lessons.exercises.digest import digest_now
from lessons.exercises.lookup import lesson_of
from lessons.exercises.replies import UNCOUNTED

MOST_NAMED = 2


@dataclass(frozen=True)
class LessonProgress:
    """Hold how far one lesson is, by the last attempt at each item, with any numbers.

    Parameters
    ----------
    number, title : str
        Two digits, and the heading of the lesson.
    done : tuple of str
        Identifiers of the items that are solved, noted, or shown without predicting.
    missed : tuple of str
        Those that were not right at the last attempt.
    begun : tuple of str
        Tables and drills that are not finished.
    waiting : tuple of str
        Those that were not answered yet. Questions that open the lesson, and drills, count from
        the first answer on.

    >>> lesson_progress("01", ()).done
    ()
    """

    number: str
    title: str
    done: tuple[str, ...]
    missed: tuple[str, ...]
    begun: tuple[str, ...]
    waiting: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many items there are."""
        return len(self.done + self.missed + self.begun + self.waiting)

    def open_words(self) -> str:
        """Return what is open in one line; empty where nothing is."""
        waiting = f"{len(self.waiting)} of {self.count} not answered" if self.waiting else ""
        named = ((word, ids) for word, ids in (("missed", self.missed), ("begun", self.begun)))
        parts = [f"{word}: {few(map(item_name, ids))}" for word, ids in named if ids]
        return "; ".join(filter(None, (*parts, waiting)))


def item_name(item_id: str) -> str:
    """Return the name of an item as a learner finds it, with its identifier.

    Parameters
    ----------
    item_id : str
        Of an item that the course has.

    >>> item_name("01-mttr"), item_name("01-turn-3.sort")
    ('Find the MTTR (01-mttr)', 'Your turn 3, Sort (01-turn-3.sort)')
    """
    lesson = lesson_of(item_id)
    chains = (chain.title for chain in lesson.chains
              if any(step.item == item_id for step in chain.steps))
    title = ", ".join((*chains, lesson.item(item_id).title))
    return f"{title} ({item_id})"


def few(names: Iterable[str], most: int = MOST_NAMED) -> str:
    """Return the first of some names, and how many there are beside them.

    Parameters
    ----------
    most : int
        So many are named.

    >>> few(["a", "b", "c"], 2)
    'a, b, and 1 more'
    """
    names = list(names)
    more = [f"and {len(names) - most} more"] if len(names) > most else []
    return ", ".join(names[:most] + more)


def lesson_progress(number: str, attempts: Iterable[Attempt]) -> LessonProgress:
    """Return how far a lesson is.

    Parameters
    ----------
    number : str
        Two digits.
    attempts : iterable of Attempt
        Oldest first; those at other lessons do not count.

    Raises
    ------
    ValueError
        Where there is no such lesson.

    >>> from lessons.exercises.session import Session
    >>> desk = Session()
    >>> desk.check("01-downtime", "240 min/a").verdict
    <Verdict.LOOK_AGAIN: 'Look again'>
    >>> lesson_progress("01", desk.recorder.attempts()).missed
    ('01-downtime',)
    """
    lesson = lesson_of(f"{number}-")
    last = {attempt.item_id: attempt.verdict for attempt in attempts
            if attempt.kind in ("answer", "skip") and attempt.verdict not in UNCOUNTED}
    found: dict[str, list[str]] = {"done": [], "missed": [], "begun": [], "waiting": []}
    for item in lesson.all_items:
        if item.id in last:
            found[item.standing(last[item.id])].append(item.id)
        elif item.id not in lesson.recall and not item.many_answers:
            found["waiting"].append(item.id)
    return LessonProgress(number, lesson.title, **{key: tuple(ids) for key, ids in found.items()})


def missed_before(attempts: Iterable[Attempt], number: str) -> tuple[str, ...]:
    """Return what was missed at the last attempt and can be asked again by itself.

    Parameters
    ----------
    attempts : iterable of Attempt
        Oldest first.
    number : str
        Of the lesson that begins, two digits: of this one the questions that open it count, of
        those before it everything but steps, tables, predictions and drills.

    >>> missed_before([Attempt("01-mttr", 0, "", "answer", "9 h", "LOOK_AGAIN")], "02")
    ('01-mttr',)
    """
    attempts = tuple(attempts)
    place = {attempt.item_id: place for place, attempt in enumerate(attempts)}
    found = []
    for each in begun_lessons(attempts):
        lesson = lesson_of(f"{each}-")
        steps = {step.item for chain in lesson.chains for step in chain.steps}
        found += [
            item_id for item_id in lesson_progress(each, attempts).missed
            if item_id in lesson.recall and each == number
            or each < number and item_id not in steps
            and not lesson.item(item_id).many_answers]
    return tuple(sorted(found, key=place.__getitem__, reverse=True))


def begun_lessons(attempts: Iterable[Attempt]) -> tuple[str, ...]:
    """Return the numbers of the lessons at which something was done, in order.

    Returns
    -------
    tuple of str
        Lessons that the course no longer has are left out.

    >>> begun_lessons([Attempt("04-table", 0, "", "hint", "", "HINT")])
    ('04',)
    """
    numbers = {attempt.item_id.partition("-")[0] for attempt in attempts}
    return tuple(number for number in sorted(numbers) if _is_lesson(number))


def _is_lesson(number: str) -> bool:
    try:
        return bool(lesson_of(f"{number}-"))
    except ValueError:
        return False


def changes(attempts: Iterable[Attempt]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return which items have changed since they were last answered, and which are gone.

    Parameters
    ----------
    attempts : iterable of Attempt
        Oldest first. One without a digest, from an older version, can only show what is gone.

    Returns
    -------
    tuple of two tuples of str
        Identifiers of changed items, and of those that the course no longer has, each in order.

    >>> old = Attempt("01-mttr", 0, "", "answer", "9 h", "RIGHT", 9.0, None, "00000000", "0.0.1")
    >>> changes([old, Attempt("01-moved", 0, "", "answer", "9 h", "RIGHT")])
    (('01-mttr',), ('01-moved',))
    """
    last = {attempt.item_id: attempt.digest for attempt in attempts}
    now = {item_id: digest_now(item_id) for item_id in sorted(last)}
    changed = tuple(item_id for item_id, digest in now.items()
                    if digest is not None and last[item_id] not in ("", digest))
    return changed, tuple(item_id for item_id, digest in now.items() if digest is None)


def changed_text(attempts: Iterable[Attempt], most: int = 1000) -> str:
    """Return in words what has changed since it was answered; empty where nothing has.

    Parameters
    ----------
    most : int
        So many items are named, and the others counted.

    >>> changed_text([Attempt("01-moved", 0, "", "answer", "9 h", "RIGHT")])
    'No longer in the course, and kept in your record: 01-moved.'
    """
    changed, gone = changes(attempts)
    lines = []
    if changed:
        lines.append(f"Changed since you answered: {few(map(item_name, changed), most)}.")
    if gone:
        lines.append(f"No longer in the course, and kept in your record: {few(gone, most)}.")
    return "\n".join(lines)


def trouble_text(recorder: Recorder) -> str:
    """Return in words what is wrong with the record; empty where nothing is.

    >>> from lessons.exercises.learner_record import LearnerRecord
    >>> trouble_text(LearnerRecord())
    ''
    """
    aside = ", ".join(getattr(recorder, "set_aside", ()))
    damaged = f"Damaged and put aside: {aside}. The newest copy takes its place." if aside else ""
    gone = getattr(recorder, "deleted_elsewhere", 0)
    deleted = f"Deleted by somebody else, and gone from here too: answers {gone}." if gone else ""
    return "\n".join(filter(None, (getattr(recorder, "problem", ""), damaged, deleted)))


def open_text(recorder: Recorder, number: str) -> str:
    """Return what is open in a lesson and in those before it.

    Parameters
    ----------
    number : str
        Of the lesson that begins, two digits.

    Returns
    -------
    str
        A few lines however long the record is; empty for an empty record.

    >>> from lessons.exercises.session import Session
    >>> desk = Session()
    >>> open_text(desk.recorder, "01")
    ''
    >>> reply = desk.check("01-downtime", "240 min/a")
    >>> print(open_text(desk.recorder, "01").splitlines()[0])
    You have open:
    """
    here = [attempt for attempt in recorder.attempts()
            if attempt.item_id.partition("-")[0] <= number]
    if not here:
        return ""
    begun = begun_lessons(here)
    lessons = [lesson_progress(each, here) for each in begun]
    own = "".join(lesson.open_words() for lesson in lessons if lesson.number == number)
    earlier = [lesson for lesson in lessons if lesson.number != number]
    before = (f"{place:02d}" for place in range(1, int(number)))
    lines = {
        "in this lesson": own,
        "missed before": few(item_name(each) for lesson in earlier for each in lesson.missed),
        "begun before": few(item_name(each) for lesson in earlier for each in lesson.begun),
        "not answered": ", ".join(f"{len(lesson.waiting)} in {lesson.number}"
                                  for lesson in earlier if lesson.waiting),
        "lessons not begun": ", ".join(each for each in before if each not in begun),
    }
    still_open = [f"{name}: {words}" for name, words in lines.items() if words]
    said = ["You have open:", *still_open] if still_open else ["Nothing is open up to here."]
    whole = "your whole record: my_record(), from lessons.exercises.by_text"
    return "\n".join(filter(None, (*said, changed_text(here, MOST_NAMED), whole)))
