"""What every exercise has in common: its case, its hints, and what a judgement holds.

There are six types of item: numeric with unit (:mod:`.numeric`), multiple choice
(:mod:`.choosing`), free prediction (:mod:`.predicting`), order the steps (:mod:`.ordering`), fill
the table (:mod:`.table`), and the fault drill on the running plant (:mod:`.drilling`). Each is
a frozen dataclass with two duties: ``task(numbers, seed)`` says it in text, and
``judge(answer, numbers, seed, earlier)`` returns a :class:`Judgement`. A type that has these two
and the fields of :class:`Item` needs no change anywhere else. A drill takes many answers, one for
each move, so that a lesson holds its drills apart from its other items.
"""

from __future__ import annotations

import itertools
import random
import string
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property
from types import SimpleNamespace
from typing import Protocol

from labkit.wording import THIN_SPACE, shown

__all__ = [
    "CALCULATION_STEPS",
    "FAULT_STEPS",
    "Case",
    "SteppedCase",
    "Hints",
    "Item",
    "Judgement",
    "Lesson",
    "CaseStep",
    "Verdict",
    "fill",
    "is_blank",
    "shuffled",
]

CALCULATION_STEPS = ("Sketch", "Sort", "Calculate", "Compare")
FAULT_STEPS = ("Describe", "List", "Test", "Repair", "Evaluate")


class Verdict(Enum):
    """What an answer came to. The value is the word that a message starts with."""

    BLANK = "Not answered yet"
    UNCLEAR = "Unclear"
    NOT_SURE = "Not sure"
    HINT = "Hint"
    LOOK_AGAIN = "Look again"
    UNIT = "Check the unit"
    FOLLOWS = "Follows"
    PARTLY = "Partly right"
    RIGHT = "Right"
    NOTED = "Noted"
    SKIPPED = "Shown without predicting"


@dataclass(frozen=True)
class Judgement:
    """The outcome of one answer, before it is put into words.

    Parameters
    ----------
    verdict : Verdict
        What the answer came to.
    shows : str
        What the answer shows: a reason, a question against a number, or what is unclear.
    value : float, str, tuple, dict or None
        The answer as it was read.
    misconception : str or None
        Identifier in the register, where the answer is that of a known error.
    score : float
        Share of the item that is right, 0 to 1.
    """

    verdict: Verdict
    shows: str = ""
    value: object = None
    misconception: str | None = None
    score: float = 0.0


@dataclass(frozen=True)
class Hints:
    """The ladder of hints: a pointer to the step, the relation to use, the full route.

    Parameters
    ----------
    pointer, relation, route : str
        Templates, filled with the numbers of the case. Only the route may hold the result.
    """

    pointer: str
    relation: str
    route: str


def _nothing(numbers: SimpleNamespace) -> Mapping:
    return {}


@dataclass(frozen=True, eq=False)
class Case:
    """A situation and the numbers it may have.

    Parameters
    ----------
    id : str
        Names the draw, so that items of one case get the same numbers for the same seed.
    text : str
        Template of the situation.
    numbers : mapping of str to sequence
        For each name the values it may take; seed 0 takes the first of each.
    derive : callable
        From the drawn numbers to a mapping of everything computed from them.
    picture : callable or None
        From all of these to HTML text that a page shows in place of the situation.

    Examples
    --------
    >>> case = Case("demo", "Out for {mttr_h} h.", {"mttr_h": (4.0, 8.0)})
    >>> fill(case.text, next(case.draws(0)))
    'Out for 4 h.'
    """

    id: str = ""
    text: str = ""
    numbers: Mapping[str, Sequence] = field(default_factory=dict)
    derive: Callable[[SimpleNamespace], Mapping] = field(default_factory=lambda: _nothing)
    picture: Callable[[SimpleNamespace], str] | None = None

    def draws(self, seed: int):
        """Yield sets of numbers in the order of the seed, the first being the wanted one.

        Parameters
        ----------
        seed : int
            0 gives the first values only; any other integer gives all, in its own order.

        Yields
        ------
        SimpleNamespace
            The numbers and what is derived from them.

        Examples
        --------
        >>> len(list(Case("demo", numbers={"mttr_h": (4.0, 8.0)}).draws(3)))
        2
        """
        plant, *others = range(len(self._combinations))
        if seed != 0:
            # A variant is to differ from the numbers of the plant, where there is a choice.
            yield from map(self._worked_out, shuffled(others, f"{self.id}:{seed}"))
        yield self._worked_out(plant)

    @cached_property
    def _combinations(self) -> list[tuple]:
        return list(itertools.product(*self.numbers.values()))

    @cached_property
    def _known(self) -> dict[int, SimpleNamespace]:
        return {}

    def _worked_out(self, place: int) -> SimpleNamespace:
        """Work a set of numbers out once: the models behind it may take their time."""
        if place not in self._known:
            numbers = SimpleNamespace(
                **dict(zip(self.numbers, self._combinations[place], strict=True)))
            vars(numbers).update(self.derive(numbers))
            self._known[place] = numbers
        return self._known[place]


class Item(Protocol):
    """What the session asks of an item of any type."""

    id: str
    title: str
    case: Case
    hints: Hints

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with everything a learner needs to answer."""

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge one answer; ``earlier`` holds the learner's own values of other items."""

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where every known error gives an answer of its own."""


@dataclass(frozen=True)
class CaseStep:
    """One named step of a chain: either asked by an item, or shown worked.

    Parameters
    ----------
    name : str
        One of :data:`CALCULATION_STEPS` or :data:`FAULT_STEPS`.
    item : str or None
        The item that asks for this step, or None where it is shown.
    worked : str
        Template of the step as worked, shown where it is not asked.
    """

    name: str
    item: str | None
    worked: str = ""


@dataclass(frozen=True)
class SteppedCase:
    """A case solved in named steps, released one after the other.

    Parameters
    ----------
    id, title : str
        Identifier and heading.
    case : Case
        The situation and numbers that all steps share.
    steps : tuple of Step
        In order. The first ones are asked, the rest is shown worked: forward fading.
    """

    id: str
    title: str
    case: Case
    steps: tuple[CaseStep, ...]


@dataclass(frozen=True, eq=False)
class Lesson:
    """The items of one lesson.

    Parameters
    ----------
    number : str
        Two digits, the first part of every identifier in it.
    title : str
        As in the heading of the notebook.
    items : tuple of Item
        All items, those of the chains included.
    chains : tuple of Chain
        The chains, which name their items.
    recall : tuple of str
        Identifiers of the three questions that open the lesson.
    drills : tuple of Drill
        Its fault drills.
    """

    number: str
    title: str
    items: tuple
    chains: tuple[SteppedCase, ...] = ()
    recall: tuple[str, ...] = ()
    drills: tuple = ()

    @cached_property
    def _drawn(self) -> dict[tuple[Case, int], SimpleNamespace]:
        return {}

    def item(self, item_id: str):
        """Return the item of this identifier.

        Parameters
        ----------
        item_id : str
            Such as ``01-downtime``; ``01-downtime.size`` asks whether the size makes sense.

        Returns
        -------
        Item
            The item.

        Raises
        ------
        ValueError
            Where the lesson has no such item; the message lists those it has.
        """
        for item in (*self.items, *self.drills):
            if item.id == item_id:
                return item
            if getattr(item, "rough", None) and f"{item.id}.size" == item_id:
                return item.size_item()
        known = ", ".join(item.id for item in (*self.items, *self.drills))
        raise ValueError(f"item_id must be one of {known}; got {item_id!r}")

    def chain(self, chain_id: str) -> SteppedCase:
        """Return the chain of this identifier.

        Parameters
        ----------
        chain_id : str
            Such as ``01-turn-1``.

        Returns
        -------
        Chain
            The chain.

        Raises
        ------
        ValueError
            Where the lesson has no such chain.
        """
        for chain in self.chains:
            if chain.id == chain_id:
                return chain
        known = ", ".join(chain.id for chain in self.chains)
        raise ValueError(f"chain_id must be one of {known}; got {chain_id!r}")

    def numbers(self, case: Case, seed: int) -> SimpleNamespace:
        """Draw the numbers of a case so that every typical wrong number stands apart.

        Parameters
        ----------
        case : Case
            The case of one or more items of this lesson.
        seed : int
            0 for the numbers of the plant, any other integer for a variant.

        Returns
        -------
        SimpleNamespace
            The numbers and what is derived from them.

        Raises
        ------
        LookupError
            Where no set of numbers keeps the errors apart.
        """
        if (case, seed) in self._drawn:
            return self._drawn[case, seed]
        siblings = [i for i in (*self.items, *self.drills) if i.case.id == case.id]
        for numbers in case.draws(seed):
            if all(item.separated(numbers) for item in siblings):
                return self._drawn.setdefault((case, seed), numbers)
        raise LookupError(f"case {case.id!r} keeps its errors apart for no numbers of seed {seed}")


class _Template(string.Formatter):
    def format_field(self, value, format_spec):
        if not format_spec and isinstance(value, (int, float)) and not isinstance(value, bool):
            return shown(float(value))
        text = super().format_field(value, format_spec)
        return text.replace("%", f"{THIN_SPACE}%") if format_spec.endswith("%") else text


def fill(template: str, numbers: SimpleNamespace) -> str:
    r"""Fill a template with numbers, written as :func:`.quantities.shown` writes them.

    Parameters
    ----------
    template : str
        Text with names in braces; a format such as ``{share:.1%}`` is honoured.
    numbers : SimpleNamespace
        From :meth:`Lesson.numbers`.

    Returns
    -------
    str
        The text.

    Raises
    ------
    KeyError
        Where the template names a number that the case does not have.

    Examples
    --------
    >>> fill("{a} h, {b:.1%}", SimpleNamespace(a=4.0, b=0.368)) == "4 h, 36.8\u202f%"
    True
    """
    return _Template().vformat(template, (), vars(numbers))


def is_blank(answer: object) -> bool:
    """Return True where nothing was answered: ``...``, None, or only spaces.

    Parameters
    ----------
    answer : object
        What the learner gave.

    Returns
    -------
    bool
        True for an empty answer.

    Examples
    --------
    >>> is_blank(...), is_blank("  "), is_blank(0)
    (True, True, False)
    """
    if isinstance(answer, str):
        return not answer.strip()
    empty = isinstance(answer, (dict, list, tuple)) and not answer
    return answer is ... or answer is None or empty


def shuffled(things: Sequence, seed: str) -> list:
    """Return the things in an order that depends on the seed alone.

    Parameters
    ----------
    things : sequence
        What is to be shuffled.
    seed : str
        Any text; the same text gives the same order on every machine.

    Returns
    -------
    list
        The things, each once.

    Examples
    --------
    >>> sorted(shuffled("abc", "demo"))
    ['a', 'b', 'c']
    """
    # Python promises the same stream of random() for one seed in all versions, and no more.
    source = random.Random(seed)
    keys = [source.random() for _ in things]
    return [things[i] for i in sorted(range(len(things)), key=keys.__getitem__)]
