"""A class: a folder of handed-in bundles becomes one table, with the count per misconception.

That count is what steers the next hour.  A bundle is data: it is read and checked, never run.
What is damaged, handed in twice, or no bundle at all is listed and harms nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from labkit.writing import csv_text
from lessons.exercises.learner_record import Bundle, read_bundle
from lessons.exercises.misconceptions import misconception

__all__ = ["ClassTable", "Learner", "collect"]

LARGEST_BYTES = 20_000_000
DONE = ("RIGHT", "NOTED", "PARTLY", "SKIPPED")


@dataclass(frozen=True)
class Learner:
    """Hold what one learner did.

    Parameters
    ----------
    file : str
        Name of the file that was handed in.
    attempts : int
        Answers, hints, skips and observations together.
    right, open_items : tuple of str
        Items answered right, and items tried without success so far.
    misconceptions : mapping of str to int
        How often each was met.
    minutes_active : float
        Minutes between actions, pauses of more than five minutes left out.

    >>> Learner("7", "7.json", 0, (), (), {}, 0.0).attempts
    0
    """

    label: str
    file: str
    attempts: int
    right: tuple[str, ...]
    open_items: tuple[str, ...]
    misconceptions: Mapping[str, int]
    minutes_active: float


@dataclass(frozen=True)
class ClassTable:
    """Hold a class.

    Parameters
    ----------
    learners : tuple of Learner
        In order of their labels.
    problems : tuple of str
        One sentence for each file that could not be counted.
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
        """For each misconception the number of learners who met it, most first."""
        met = Counter(name for learner in self.learners for name in learner.misconceptions)
        return MappingProxyType(dict(sorted(met.items(), key=lambda pair: (-pair[1], pair[0]))))

    def to_csv(self) -> str:
        """Return one row per learner, one column per misconception, and a last row of sums."""
        names = sorted(self.misconceptions)
        return csv_text([
            ["learner", "file", "attempts", "right", "open", "minutes", *names],
            *([one.label, one.file, one.attempts, len(one.right), " ".join(one.open_items),
               f"{one.minutes_active:.0f}", *(one.misconceptions.get(name, 0) for name in names)]
              for one in self.learners),
            ["learners who met it", "", "", "", "", "",
             *(self.misconceptions[name] for name in names)],
        ])

    def to_text(self) -> str:
        """Return the table as text, what steers the next hour first."""
        lines = [f"{len(self.learners)} learners, {len(self.problems)} files not counted."]
        if self.misconceptions:
            lines.append("Misconceptions, by the number of learners who met them:")
        for name, count in self.misconceptions.items():
            bar = "#" * round(30 * count / len(self.learners))
            lines.append(f"  {name}  {count:3d}  {bar}")
            met = ", ".join(f"{item} ({learners})"
                            for item, learners in self.places.get(name, {}).items())
            lines.append(f"            {_says(name)}{f' Met at {met}.' if met else ''}")
        if self.items:
            lines.append("Items, right of tried, what went worst first:")
        worst = sorted(self.items.items(), key=lambda pair: (pair[1][0] / pair[1][1], pair[0]))
        lines += [f"  {name}: {right} of {tried}" for name, (right, tried) in worst]
        lines += [f"Not counted: {problem}" for problem in self.problems]
        return "\n".join(lines)


def collect(folder: str | Path, *, progress: Callable[[int, int], None] | None = None
            ) -> ClassTable:
    """Read every bundle of a folder.

    Parameters
    ----------
    folder : str or Path
        Files in folders inside it count too.
    progress : callable, optional
        Called with the number of files read and of all files.

    Raises
    ------
    ValueError
        When it is no folder.

    Notes
    -----
    Of two bundles with one label the one with more attempts counts; the other is listed. Two
    equal files count once.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise ValueError(f"folder must be a folder, got {str(folder)!r}")
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    found: dict[str, tuple[str, Bundle]] = {}
    problems = []
    for number, path in enumerate(files, 1):
        name = path.relative_to(folder).as_posix()
        try:
            if path.stat().st_size > LARGEST_BYTES:
                raise ValueError(f"a bundle must be at most {LARGEST_BYTES} bytes")
            bundle = read_bundle(path.read_text("utf-8"))
        except UnicodeDecodeError:
            problems.append(f"{name}: a bundle must be text, got other bytes")
        except (ValueError, OSError, TypeError, RecursionError) as error:
            problems.append(f"{name}: {error}")
        else:
            problems += _keep_longer(found, name, bundle)
        if progress is not None:
            progress(number, len(files))
    learners = tuple(_learner(name, bundle) for _, (name, bundle) in sorted(found.items()))
    places = _places([bundle for _, bundle in found.values()])
    return ClassTable(learners, tuple(problems), _items(learners), places)


def _keep_longer(found: dict, name: str, bundle: Bundle) -> list[str]:
    if bundle.label not in found:
        found[bundle.label] = (name, bundle)
        return []
    other_name, other = found[bundle.label]
    if other.checksum == bundle.checksum:
        return [f"{name}: the same as {other_name}"]
    if len(bundle.attempts) > len(other.attempts):
        found[bundle.label] = (name, bundle)
        name, other_name = other_name, name
    return [f"{name}: a second bundle of {bundle.label!r}; {other_name} has more and counts"]


def _learner(name: str, bundle: Bundle) -> Learner:
    verdicts: dict[str, set[str]] = {}
    for attempt in bundle.attempts:
        verdicts.setdefault(attempt.item_id, set()).add(attempt.verdict)
    right = tuple(item for item, had in verdicts.items() if "RIGHT" in had)
    still_open = tuple(item for item, had in verdicts.items() if not had & set(DONE))
    met = Counter(one.misconception for one in bundle.attempts if one.misconception)
    return Learner(bundle.label, name, len(bundle.attempts), right, still_open,
                   MappingProxyType(dict(met)), bundle.minutes_active)


def _places(bundles: list[Bundle]) -> Mapping[str, Mapping[str, int]]:
    met: dict[str, Counter[str]] = {}
    for bundle in bundles:
        for name, item in sorted({(one.misconception, one.item_id) for one in bundle.attempts
                                  if one.misconception}):
            met.setdefault(name, Counter())[item] += 1
    return MappingProxyType({name: MappingProxyType(dict(items.most_common()))
                             for name, items in met.items()})


def _says(name: str) -> str:
    """Return a misconception in words; those of another course are unknown here."""
    try:
        return misconception(name).says
    except ValueError:
        return "Not one of this course."


def _items(learners: tuple[Learner, ...]) -> Mapping[str, tuple[int, int]]:
    right = Counter(item for learner in learners for item in learner.right)
    tried = Counter(item for learner in learners for item in learner.open_items) + right
    return MappingProxyType({item: (right[item], tried[item]) for item in sorted(tried)})
