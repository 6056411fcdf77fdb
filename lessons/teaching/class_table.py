"""A class: a folder of handed-in bundles becomes one table, with the count per misconception.

That count is what steers the next hour.  A bundle is data: it is read and checked, never run.
What is damaged, handed in twice, or no bundle at all is listed and harms nothing.
"""

import stat
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from unicodedata import normalize

from labkit.reading import read_utf8
from labkit.writing import csv_text, problem_text, safe_line
from lessons.exercises.judging_again import JudgedAgain, judged_again
from lessons.exercises.learner_record import Bundle, minutes_active, read_bundle
from lessons.exercises.misconceptions import misconception, safety_concern
from lessons.teaching.class_tries import Try, first_and_last, in_course_order, tries_of

MOST_KINDS = 40
MOST_PLACES = 6
MOST_WEEKS = 26
FEWEST_QUESTIONS = 6
IDLE = timedelta(days=14)
TALK_RULE = (f"named is who has a concern of safety at the last try of a marked question, fewer than "
             f"half right at the last try of {FEWEST_QUESTIONS} marked questions or more, in all or in one "
             f"lesson, tries only at lessons that less than half the class has begun, or nothing done in the last {IDLE.days} "
             "days of the class")
DONE = ("RIGHT", "NOTED", "PARTLY", "SKIPPED")


@dataclass(frozen=True)
class Learner:
    """Hold what one learner did.

    Parameters
    ----------
    file : str
        Name of the file that was handed in.
    handed_in : str
        Who owns that file, and its time.
    attempts : int
        Answers, hints, skips and observations together.
    right, open_items : tuple of str
        Items answered right, and items tried without success so far.
    misconceptions : mapping of str to int
        How often each was met.
    minutes_active : float
        Minutes between actions, pauses of more than five minutes left out.
    tries : tuple of Try
        In the order of the record.
    acts : tuple of datetime
        When anything was done, in order.
    twin : bool
        Whether another learner has this label.

    >>> Learner("7", "7.json", "", 0, (), (), {}, 0.0).attempts
    0
    """

    label: str
    file: str
    handed_in: str
    attempts: int
    right: tuple[str, ...]
    open_items: tuple[str, ...]
    misconceptions: Mapping[str, int]
    minutes_active: float
    tries: tuple[Try, ...] = ()
    acts: tuple[datetime, ...] = ()
    twin: bool = False

    @property
    def name(self) -> str:
        """What tells this learner from all others: the label, of twins with the file."""
        return f"{self.label} ({self.file})" if self.twin else self.label

    @cached_property
    def by_item(self) -> Mapping[str, tuple[Try, Try]]:
        """First and last try at each item."""
        return first_and_last(self.tries)

    def of_week(self, week: str) -> list[bool]:
        """Return for each try of a week at a marked item whether it was right."""
        return [each.right for each in self.tries if each.week == week and each.item.points]

    @cached_property
    def lessons(self) -> frozenset[str]:
        """Numbers of the lessons at which something was tried."""
        return frozenset(name.partition("-")[0] for name in self.by_item)

    def reasons(self, since: datetime, begun: Iterable[str]) -> Iterator[str]:
        """Yield why somebody should talk with this learner, as `TALK_RULE` has it."""
        marked = [last for _, last in self.by_item.values() if last.item.points]
        for last in marked:
            if last.concern:
                yield f"safety, at {last.item.id}: {last.concern.rstrip('.')}"
        in_all = {"": marked} | {f" in lesson {number}": [
            last for last in marked if last.item.id.startswith(f"{number}-")]
            for number in sorted(self.lessons)}
        for where, tried in in_all.items():
            right = sum(last.right for last in tried)
            if len(tried) >= FEWEST_QUESTIONS and 2 * right < len(tried):
                yield f"{right} of {len(tried)} right at the last try{where}"
                break
        if begun and self.lessons and self.lessons.isdisjoint(begun):
            yield f"tried lesson {', '.join(sorted(self.lessons))}; the class is at {', '.join(begun)}"
        if not self.acts:
            yield "nothing done"
        elif self.acts[-1] < since:
            yield f"nothing done since {self.acts[-1]:%Y-%m-%d}"


@dataclass(frozen=True)
class ClassTable:
    """Hold a class.

    Parameters
    ----------
    learners : tuple of Learner
        In order of their labels.
    problems : tuple of str
        One sentence for each file that could not be counted, or that says what does not hold.
    items : mapping of str to tuple of int
        For each item: learners who got it right, learners who tried it.
    places : mapping of str to mapping of str to int
        For each misconception the items at which it was met, and by how many learners.
    """

    learners: tuple[Learner, ...]
    problems: tuple[str, ...]
    items: Mapping[str, tuple[int, int]]
    places: Mapping[str, Mapping[str, int]] = field(default_factory=dict)

    @property
    def misconceptions(self) -> Mapping[str, int]:
        """For each misconception the number of learners who met it: safety first, then most."""
        met = Counter(name for learner in self.learners for name in learner.misconceptions)
        return MappingProxyType(dict(sorted(
            met.items(), key=lambda pair: (not safety_concern(pair[0]), -pair[1], pair[0]))))

    @cached_property
    def missed(self) -> tuple[tuple[str, int, int], ...]:
        """Items that not all got right, what went worst first: who did, of those who tried."""
        return tuple(each[1:] for each in sorted(
            (right / tried, name, right, tried) for name, (right, tried) in self.items.items()
            if right < tried))

    @cached_property
    def tried(self) -> tuple[str, ...]:
        """Items that somebody tried, in the order of the course."""
        return tuple(in_course_order(name for one in self.learners for name in one.by_item))

    @cached_property
    def weeks(self) -> tuple[str, ...]:
        """Weeks with tries, in order; of very many those of most learners, and of these the latest."""
        met = Counter(week for one in self.learners for week in {each.week for each in one.tries})
        return tuple(sorted(sorted(met, key=lambda week: (met[week], week))[-MOST_WEEKS:]))

    @cached_property
    def begun(self) -> tuple[str, ...]:
        """Lessons at which at least half the class tried something."""
        met = Counter(number for one in self.learners for number in one.lessons)
        return tuple(sorted(name for name, count in met.items() if 2 * count >= len(self.learners)))

    def to_talk_to(self, now: datetime | None = None) -> tuple[tuple[Learner, tuple[str, ...]], ...]:
        """Return who needs a talk by `TALK_RULE`, each with the reasons.

        The days of the class end with its last act; what a clock of tomorrow wrote is none.
        """
        now = now or datetime.now(UTC)
        acts = [moment for one in self.learners for moment in one.acts if moment <= now]
        since = max(acts, default=now) - IDLE
        named = ((one, tuple(one.reasons(since, self.begun))) for one in self.learners)
        return tuple((one, reasons) for one, reasons in named if reasons)

    def to_csv(self) -> str:
        """Return one row per learner and a last row of sums.

        There is one column for each misconception; then for each item the per cent that was right
        at the first try and at the last; then for each week its tries, and how many were right.
        """
        names = sorted(self.misconceptions)
        marked = [name for name in self.tried if any(
            name in one.by_item and one.by_item[name][1].item.points for one in self.learners)]
        return csv_text([
            ["learner", "file", "handed in", "attempts", "right", "open", "minutes", *names,
             *(f"{name} {which} %" for name in marked for which in ("first", "last")),
             *(f"{week} {what}" for week in self.weeks for what in ("tried", "right"))],
            *([one.label, one.file, one.handed_in, one.attempts, len(one.right),
               " ".join(one.open_items), f"{one.minutes_active:.0f}",
               *(one.misconceptions.get(name, 0) for name in names),
               *(cell for name in marked for cell in (
                   [round(100 * each.judged.score) for each in one.by_item[name]]
                   if name in one.by_item else ("", ""))),
               *(count for week in self.weeks for marks in [one.of_week(week)]
                 for count in (len(marks), sum(marks)))]
              for one in self.learners),
            ["learners who met it", "", "", "", "", "", "",
             *(self.misconceptions[name] for name in names)],
        ])

    def met_at(self, name: str) -> str:
        """Return at which questions most met a misconception, each with how many."""
        met = [f"{item} ({learners})" for item, learners in self.places.get(name, {}).items()]
        more = len(met) - MOST_PLACES
        return ", ".join(met[:MOST_PLACES]) + (f", and at {more} more" if more > 0 else "")

    def to_text(self) -> str:
        """Return the table as text, what steers the next hour first."""
        learners, remarks = len(self.learners), len(self.problems)
        lines = [f"{learners} learner{'' if learners == 1 else 's'}, "
                 f"{remarks} remark{'' if remarks == 1 else 's'} on files."]
        heading = ""
        for name, count in list(self.misconceptions.items())[:MOST_KINDS]:
            kind = "Safety first, whatever the number:" if safety_concern(name) else \
                "Misconceptions, by the number of learners who met them:"
            if kind != heading:
                heading = kind
                lines.append(heading)
            bar = "#" * round(30 * count / len(self.learners))
            lines.append(f"  {name}  {count:3d}  {bar}")
            met = self.met_at(name)
            lines.append(f"            {says(name)}{f' Met at {met}.' if met else ''}")
        if len(self.misconceptions) > MOST_KINDS:
            lines.append(f"  and {len(self.misconceptions) - MOST_KINDS} kinds more.")
        if talks := self.to_talk_to():
            lines.append(f"To talk to ({TALK_RULE}):")
        lines += [f"  {one.name}: {'; '.join(reasons)}" for one, reasons in talks]
        if self.items:
            lines.append("Items, learners who got it right at any try of those who tried, what went worst "
                         "first:")
        lines += [f"  {name}: {right} of {tried}" for name, right, tried in self.missed]
        if all_right := len(self.items) - len(self.missed):
            lines.append(f"  right by all who tried: {all_right}{' more' if self.missed else ''}")
        lines += ["Remarks on files:"] * bool(self.problems)
        lines += [f"  {problem}" for problem in self.problems]
        return "\n".join(map(safe_line, lines))


def collect(folder: str | Path) -> ClassTable:
    """Read every bundle of a folder.

    Parameters
    ----------
    folder : str or Path
        Files in folders inside it count too.

    Raises
    ------
    ValueError
        When it is no folder.

    Notes
    -----
    Of two bundles of one record the one with more attempts counts; the other is listed. Two
    learners of one label are two. What holds the answers of another bundle under another label is
    a copy: the one handed in first counts, and the copy counts for nobody. Links and what is no
    file are not followed. Every answer is judged again from what was typed.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise ValueError(f"folder must be a folder, got {str(folder)!r}")
    read, problems = [], []
    for path in sorted(_files_in(folder, problems)):
        name = path.relative_to(folder).as_posix()
        try:
            bundle = read_bundle(read_utf8(path))
            again = judged_again(bundle.attempts)
            bundle = replace(bundle, attempts=again.attempts)
            learner = _learner(name, _handed_in(path), bundle, tries_of(again))
            read.append((path.stat().st_mtime, name, learner, bundle))
            problems += _said_otherwise(name, again)
        except (ValueError, OSError, TypeError, OverflowError, RecursionError) as error:
            problems.append(f"{name}: {problem_text(error)}")
    counted, told = _apart(sorted(read, key=lambda one: one[:2]))
    # É stands with E, whatever the language of the class
    counted.sort(key=lambda one: (normalize("NFKD", one[3].label).casefold(), one[3].label, one[1]))
    labels = Counter(learner.label for _, _, learner, _ in counted)
    learners = tuple(replace(one, twin=labels[one.label] > 1) for _, _, one, _ in counted)
    places = _places([bundle for *_, bundle in counted])
    return ClassTable(learners, (*problems, *told), _items(learners), places)


def _files_in(folder: Path, problems: list[str]) -> Iterator[Path]:
    """Yield every file, however deep; a folder that cannot be opened is told."""
    waiting = [folder]
    while waiting:
        at = waiting.pop()
        try:
            for path in at.iterdir():
                mode = path.lstat().st_mode
                if stat.S_ISDIR(mode):
                    waiting.append(path)
                elif stat.S_ISREG(mode):
                    yield path
        except OSError as error:
            problems.append(problem_text(error))


def _said_otherwise(name: str, again: JudgedAgain) -> list[str]:
    """Return what the instructor should know of the verdicts in a file."""
    told = []
    if again.changed:
        told.append(f"{name}: {again.changed} verdicts do not fit what was typed; what was typed "
                    "counts")
    if again.as_stated:
        told.append(f"{name}: {again.as_stated} answers are to questions that this version asks "
                    "in another way; they count as the file states them")
    return told


def _handed_in(path: Path) -> str:
    """Return who owns a file and when it was written; a system without owners names none."""
    try:
        owner = path.owner()
    except (KeyError, NotImplementedError, OSError):
        owner = ""
    when = datetime.fromtimestamp(path.stat().st_mtime).isoformat(" ", "minutes")
    return f"{owner}, {when}" if owner else when


def _apart(read: list) -> tuple[list, list[str]]:
    """Return what counts, one for each record, and a sentence for each file that does not.

    Files come in the order in which they were handed in.
    """
    of_record: dict[str, tuple] = {}
    made_by: dict[tuple, str] = {}
    told = []
    for one in read:
        _, name, _, bundle = one
        record = bundle.identity or f"label {bundle.label}"
        answers = {(each.item_id, each.seed, each.when, each.raw) for each in bundle.attempts}
        owners = Counter(made_by[answer] for answer in answers & made_by.keys())
        owner, shared = max(owners.items(), key=lambda pair: pair[1], default=("", 0))
        before = of_record.get(record)
        # In a class two may give one answer in the same second; most of a record is no chance.
        if before is None and shared > max(2, len(answers) / 2):
            first = of_record[owner]
            told.append(f"{name}: {bundle.label!r} holds the answers of {first[3].label!r}, which "
                        f"{first[1]} handed in first; the copy counts for nobody")
            continue
        if before is not None and before[3].label != bundle.label:
            told.append(f"{name}: {bundle.label!r} hands in the record of {before[3].label!r}, "
                        f"which {before[1]} handed in first; the copy counts for nobody (if it is one "
                        f"person under a new name, take {before[1]} away)")
            continue
        made_by |= dict.fromkeys(answers, record)
        if before is None:
            of_record[record] = one
        elif before[3].checksum == bundle.checksum:
            told.append(f"{name}: the same as {before[1]}")
        elif len(bundle.attempts) > len(before[3].attempts):
            of_record[record] = one
            told.append(_second(before, one))
        else:
            told.append(_second(one, before))
    return list(of_record.values()), told


def _second(short: tuple, long: tuple) -> str:
    return f"{short[1]}: a second bundle of {short[3].label!r}; {long[1]} has more and counts"


def _learner(name: str, handed_in: str, bundle: Bundle, tries: tuple[Try, ...]) -> Learner:
    verdicts: dict[str, set[str]] = {}
    for attempt in bundle.attempts:
        verdicts.setdefault(attempt.item_id, set()).add(attempt.verdict)
    right = tuple(item for item, had in verdicts.items() if "RIGHT" in had)
    still_open = tuple(item for item, had in verdicts.items() if not had & set(DONE))
    met = Counter(one.misconception for one in bundle.attempts if one.misconception)
    acts = tuple(sorted(datetime.fromisoformat(one.when).astimezone(UTC)
                        for one in bundle.attempts))
    return Learner(bundle.label, name, handed_in, len(bundle.attempts), right, still_open,
                   MappingProxyType(dict(met)), minutes_active(bundle.attempts), tries, acts)


def _places(bundles: list[Bundle]) -> Mapping[str, Mapping[str, int]]:
    met: dict[str, Counter[str]] = {}
    for bundle in bundles:
        for name, item in sorted({(one.misconception, one.item_id) for one in bundle.attempts
                                  if one.misconception}):
            met.setdefault(name, Counter())[item] += 1
    return MappingProxyType({name: MappingProxyType(dict(items.most_common()))
                             for name, items in met.items()})


def says(name: str) -> str:
    """Return a misconception in words; those of another course are unknown here."""
    try:
        return misconception(name).says
    except ValueError:
        return "Not one of this course."


def _items(learners: tuple[Learner, ...]) -> Mapping[str, tuple[int, int]]:
    right = Counter(item for learner in learners for item in learner.right)
    tried = Counter(item for learner in learners for item in learner.open_items) + right
    return MappingProxyType({item: (right[item], tried[item]) for item in sorted(tried)})
