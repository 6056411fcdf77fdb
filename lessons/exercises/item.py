"""What every exercise has in common: its case, its hints, and what a type of item brings.

There are six types of item: numeric with unit (:mod:`.numeric`), multiple choice
(:mod:`.choosing`), free prediction (:mod:`.predicting`), order the steps (:mod:`.ordering`), fill
the table (:mod:`.table`), and the fault drill on the running plant (:mod:`.drilling`). Each is one
class in one module: a frozen dataclass on :class:`Item` that brings its judging, its right answer
and its known errors, its lines of the key, and its control. Nobody else asks what type an item is
of, so that a new one is a new class and no other change.
"""

from __future__ import annotations

import itertools
import random
import re
import string
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import SimpleNamespace

from labkit.arguments import one_of
from labkit.wording import THIN_SPACE, decimals
from lessons.exercises.on_paper import Form
from lessons.exercises.replies import DONE, Judgement, Verdict

CALCULATION_STEPS = ("Sketch", "Sort", "Calculate", "Compare")
NOT_SURE = "not sure"
_UNSURE = re.compile(
    r"\?+|(?:i(?:['’]m| am)? )?(?:not (?:so |quite |really )?sure|unsure"
    r"|do(?: not|n['’]?t) know|no idea|have no idea|dunno|idk)", re.IGNORECASE)
LETTERS = "abcdefghijklmnopqrstuvwxyz"


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
    lines : mapping of str to str
        Formulas of what is derived, by name, where they are known.
    of_plant : bool
        Whether it has numbers of a plant that was named, and not those of the lessons.

    >>> case = Case("demo", "Out for {mttr_h} h.", {"mttr_h": (4.0, 8.0)})
    >>> fill(case.text, next(case.draws(0)))
    'Out for 4 h.'
    """

    DIGESTED = ("text", "numbers")

    id: str = ""
    text: str = ""
    numbers: Mapping[str, Sequence] = field(default_factory=dict)
    derive: Callable[[SimpleNamespace], Mapping] = field(default_factory=lambda: _nothing)
    picture: Callable[[SimpleNamespace], str] | None = None
    lines: Mapping[str, str] = field(default_factory=dict)
    of_plant: bool = False

    @property
    def varies(self) -> bool:
        """Whether there are other numbers than those of the plant."""
        return len(self._combinations) > 1

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


@dataclass(frozen=True)
class KnownError:
    """An answer that a known error gives.

    Parameters
    ----------
    answer : object
        As the text path takes it.
    misconception : str or None
        Identifier in the register, which the judgement of this answer names.
    says, reply : str
        The answer as the key writes it, and what to ask back; empty `says` where the key leaves
        it out.
    """

    answer: object
    misconception: str | None
    says: str = ""
    reply: str = ""


class Judged(ABC):
    """What a whole item and a cell of a table have in common."""

    DIGESTED: tuple[str, ...] = ()
    """Names of the fields that make it the one that was answered; see :mod:`.digest`."""

    def judge(self, answer: object, numbers: SimpleNamespace, seed: int,
              earlier: Mapping[str, object]) -> Judgement:
        """Judge one answer; ``earlier`` holds the learner's own values of other items."""
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        return self.judge_given(answer, numbers, seed, earlier)

    @abstractmethod
    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge an answer that is not blank."""

    @abstractmethod
    def right_answer(self, numbers: SimpleNamespace) -> object:
        """Return the right answer as the text path takes it."""

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the answers of known errors."""
        yield from ()

    def numeric_parts(self) -> tuple:
        """Return the numbers that are asked for: itself, or the cells of a table; none else."""
        return ()

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where every known error gives an answer of its own."""
        return True

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the right answer as the key of the instructor writes it."""
        return (str(self.right_answer(numbers)),)

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return what a learner fills in with a pencil."""
        return Form(words=True)

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return what whoever marks the paper looks for: letters, or a number and what is taken."""
        return ()

    @property
    def points(self) -> int:
        """How much a right answer counts; 0 for what is never marked."""
        return 1


class Cell(Judged):
    """What a table asks of a cell that is to be filled."""

    own_words = False
    """True for a text that is kept and never marked."""

    def rated_by(self) -> tuple[str, ...]:
        """Return the criteria by which learners rate what they wrote there; none otherwise."""
        return ()

    def among(self, cells: Mapping[tuple[str, str], Cell]) -> Cell:
        """Return the cell as it stands among the others of its table."""
        return self

    @abstractmethod
    def takes(self) -> str:
        """Return in words what may stand in it."""

    @abstractmethod
    def entry(self, place: str, said: str):
        """Return the control that takes it; ``said`` stood there before, if it still may."""


@dataclass(frozen=True)
class Item(Judged):
    """What a type of item brings, with what most types have in common.

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective of the lesson that it serves.
    case : Case
        Situation and numbers.
    ask : str
        Template of the question.
    """

    DIGESTED = ("ask", "case")
    voting = False
    """True for a question that a class votes on."""
    many_answers = False
    """True where it is answered move by move: it is open from the first move on, and never comes
    back as a question at the beginning of a lesson."""
    predicts = False
    """True where a run follows, which is observed; see :mod:`.predicting`."""
    unfinished = "missed"
    """Whether it counts as "missed" or "begun" after an answer that does not settle it."""

    id: str
    title: str
    objective: str
    case: Case
    ask: str

    @abstractmethod
    def control(self) -> type:
        """Return its class of controls; imported when it is asked for, as text needs none."""

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return what stands below the question: options, and how to answer."""
        return []

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with everything a learner needs to answer."""
        lines = fill(self.case.text, numbers), self.question(numbers, seed)
        return "\n".join(filter(None, lines))

    def question(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task without the situation, which the steps of one case share."""
        return "\n".join(filter(None, (fill(self.ask, numbers), *self.form(numbers, seed))))

    def afterwards(self, judged: Judgement, numbers: SimpleNamespace, *,
                   settled: bool) -> tuple[str, str]:
        """Return what is on offer after an answer, and what it releases.

        It is settled where the answer is right, or the full route was shown.
        """
        return "", judged.released

    def card(self, numbers: SimpleNamespace) -> Mapping[str, object] | None:
        """Return what somebody has to read out while it is answered on paper; None for nothing."""
        return None

    def asked_next(self) -> tuple[Item, ...]:
        """Return the items that a right answer brings."""
        return ()

    def standing(self, verdict: str) -> str:
        """Return "done", "missed" or "begun" after an answer whose verdict has this name."""
        return "done" if verdict in DONE else self.unfinished

    def criteria(self) -> tuple[str, ...]:
        """Return the criteria by which learners rate their own words; none without any."""
        return ()

    def free_texts(self, value: object, numbers: SimpleNamespace) -> tuple[tuple[str, str], ...]:
        """Return what an answer holds in the learner's own words: to what it is said, and the words."""
        return ()

    def paper(self, answer: Mapping, numbers: SimpleNamespace) -> str:
        """Return what was filled in, as a piece of paper to keep."""
        raise ValueError(f"item_id must name a table, got {self.id!r}")


@dataclass(frozen=True)
class CaseStep:
    """One named step of a chain: either asked by an item, or shown worked.

    Parameters
    ----------
    name : str
        As in :data:`CALCULATION_STEPS`, or as the case names them.
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
    made : callable or None
        From `plant=` a plant to the same lesson with the numbers of that one; None where it has none.
    """

    number: str
    title: str
    items: tuple
    chains: tuple[SteppedCase, ...] = ()
    recall: tuple[str, ...] = ()
    drills: tuple = ()
    made: Callable[..., Lesson] | None = None

    @property
    def all_items(self) -> tuple:
        """All items, the drills last."""
        return (*self.items, *self.drills)

    @cached_property
    def _drawn(self) -> dict[tuple[Case, int], SimpleNamespace]:
        return {}

    @cached_property
    def _apart(self) -> dict[int, bool]:
        return {}

    def item(self, item_id: str):
        """Return the item of this identifier.

        Parameters
        ----------
        item_id : str
            Such as ``01-downtime``; ``01-downtime.size`` asks whether the size makes sense.

        Raises
        ------
        ValueError
            Where the lesson has no such item; the message lists those it has.
        """
        for item in self.all_items:
            for each in (item, *item.asked_next()):
                if each.id == item_id:
                    return each
        known = ", ".join(item.id for item in self.all_items)
        raise ValueError(f"item_id must be one of {known}; got {item_id!r}")

    def chain(self, chain_id: str) -> SteppedCase:
        """Return the chain of this identifier.

        Parameters
        ----------
        chain_id : str
            Such as ``01-turn-1``.

        Raises
        ------
        ValueError
            Where the lesson has no such chain.
        """
        chains = {chain.id: chain for chain in self.chains}
        return chains[one_of("chain_id", chain_id, chains)]

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
        siblings = [i for i in self.all_items if i.case.id == case.id]
        for numbers in case.draws(seed):
            # A case works a set out once, so that it is the same one for each seed.
            if id(numbers) not in self._apart:
                self._apart[id(numbers)] = all(item.separated(numbers) for item in siblings)
            if self._apart[id(numbers)]:
                return self._drawn.setdefault((case, seed), numbers)
        raise LookupError(f"case {case.id!r} keeps its errors apart for no numbers of seed {seed}")


class _Template(string.Formatter):
    def format_field(self, value, format_spec):
        if not format_spec and isinstance(value, (int, float)) and not isinstance(value, bool):
            return decimals(float(value), 3)
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

    Raises
    ------
    KeyError
        Where the template names a number that the case does not have.

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

    >>> is_blank(...), is_blank("  "), is_blank(0)
    (True, True, False)
    """
    if isinstance(answer, str):
        return not answer.strip()
    empty = isinstance(answer, (dict, list, tuple)) and not answer
    return answer is ... or answer is None or empty


def is_not_sure(answer: object) -> bool:
    """Return True for an answer that says so, such as "I do not know".

    >>> is_not_sure("Not sure."), is_not_sure("idk"), is_not_sure("sure")
    (True, True, False)
    """
    return isinstance(answer, str) and bool(_UNSURE.fullmatch(answer.strip(" .!()\n")))


def shuffled(things: Sequence, seed: str) -> list:
    """Return the things in an order that depends on the seed alone.

    Parameters
    ----------
    things : sequence
        What is to be shuffled.
    seed : str
        Any text; the same text gives the same order on every machine.

    >>> sorted(shuffled("abc", "demo"))
    ['a', 'b', 'c']
    """
    # Python promises the same stream of random() for one seed in all versions, and no more.
    source = random.Random(seed)
    keys = [source.random() for _ in things]
    return [things[i] for i in sorted(range(len(things)), key=keys.__getitem__)]


def lettered(texts: list[str]) -> list[str]:
    """Return the texts with letters before them.

    Parameters
    ----------
    texts : list of str
        At most 26.

    Returns
    -------
    list of str
        ``a) ...`` and so on.

    >>> lettered(["up", "down"])
    ['a) up', 'b) down']
    """
    return [f"{letter}) {text}" for letter, text in zip(LETTERS, texts, strict=False)]


def ticked_keys(lines: Mapping[str, str], ticked: object) -> tuple[str, ...] | None:
    """Return the keys of the lines that were ticked, by number, key or text; None if unclear."""
    if not isinstance(ticked, str | Iterable):
        ticked = str(ticked)
    if is_blank(ticked) or isinstance(ticked, str) and ticked == "none":
        return ()
    names = ticked.replace(",", " ").split() if isinstance(ticked, str) else list(ticked)
    known = {}
    for place, (key, text) in enumerate(lines.items(), 1):
        known |= {str(place): key, key: key, text: key}
    if any(str(name) not in known for name in names):
        return None
    return tuple(dict.fromkeys(known[str(name)] for name in names))
