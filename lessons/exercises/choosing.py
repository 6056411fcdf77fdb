"""The choice item: one best option, where each wrong one points to a misconception."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import SimpleNamespace

from lessons.exercises.item import Case, Hints, Judgement, Verdict, fill, is_blank, shuffled

__all__ = ["LETTERS", "NOT_SURE", "Choice", "Option", "chosen_option", "lettered"]

NOT_SURE = "not sure"
LETTERS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True)
class Option:
    """One option, with the misconception that a wrong one points to.

    Parameters
    ----------
    key, text : str
        Short name for scripts, and template of what the learner reads.
    reply : str
        Template: the reason where the option is right, a question against a number where not.
    right : bool or callable
        True for the best option, or a function of the numbers that says so.
    misconception : str or None
        Identifier in the register, for a wrong option.
    question : str
        Template of the question, for an option that is right for some numbers only.
    """

    key: str
    text: str
    reply: str = ""
    right: bool | Callable[[SimpleNamespace], bool] = False
    misconception: str | None = None
    question: str = ""

    def is_right(self, numbers: SimpleNamespace) -> bool:
        """Return True where this is the best option for these numbers."""
        return self.right(numbers) if callable(self.right) else self.right

    def said_back(self, numbers: SimpleNamespace) -> str:
        """Return the reason where it is right, the question against a number where not."""
        asked = self.question if self.question and not self.is_right(numbers) else self.reply
        return fill(asked, numbers)


@dataclass(frozen=True)
class Choice:
    """Choose one option, or "not sure".

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective that it serves.
    case : Case
        Situation and numbers.
    ask : str
        Template of the question.
    options : tuple of Option
        One of them right. Shown in an order that depends on the seed.
    hints : Hints
        The ladder.
    voting : bool
        True for a question that a class may vote on.
    in_order : bool
        True where the options have a natural order, as ranges have.

    Examples
    --------
    >>> item = Choice("00-demo", "Demo", "", Case("demo"), "Which?",
    ...               (Option("x", "This", right=True), Option("y", "That")), Hints("", "", ""))
    >>> item.judge("This", SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    id: str
    title: str
    objective: str
    case: Case
    ask: str
    options: tuple[Option, ...]
    hints: Hints
    voting: bool = False
    in_order: bool = False

    def arranged(self, seed: int) -> list[Option]:
        """Return the options in the order in which this seed shows them."""
        return list(self.options) if self.in_order else shuffled(self.options, f"{self.id}:{seed}")

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with lettered options."""
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        lines += lettered([fill(o.text, numbers) for o in self.arranged(seed)] + [NOT_SURE])
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge a choice."""
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        options = self.arranged(seed)
        chosen = chosen_option(answer, options, numbers)
        if chosen is None:
            letters = ", ".join(LETTERS[: len(options) + 1])
            return Judgement(Verdict.UNCLEAR, f"one of {letters} is expected.")
        if chosen == NOT_SURE:
            return Judgement(Verdict.NOT_SURE, value=NOT_SURE)
        said = chosen.said_back(numbers)
        if chosen.is_right(numbers):
            return Judgement(Verdict.RIGHT, said, chosen.key, score=1.0)
        return Judgement(Verdict.LOOK_AGAIN, said, chosen.key, chosen.misconception)

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where exactly one option is right and no two read alike."""
        texts = {fill(option.text, numbers) for option in self.options}
        right = sum(option.is_right(numbers) for option in self.options)
        return right == 1 and len(texts) == len(self.options)


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

    Examples
    --------
    >>> lettered(["up", "down"])
    ['a) up', 'b) down']
    """
    return [f"{letter}) {text}" for letter, text in zip(LETTERS, texts, strict=False)]


def chosen_option(
    answer: object, options: list[Option], numbers: SimpleNamespace
) -> Option | str | None:
    """Return the option that an answer names, NOT_SURE, or None where it names none.

    Parameters
    ----------
    answer : object
        A letter, a key or the text of an option.
    options : list of Option
        In the order shown.
    numbers : SimpleNamespace
        The numbers of the case.

    Returns
    -------
    Option, str or None
        What was chosen.
    """
    if not isinstance(answer, str):
        return None
    said = answer.strip().lower().rstrip(").")
    by_letter = dict(zip(LETTERS, [*options, NOT_SURE], strict=False))
    if said == NOT_SURE:
        return NOT_SURE
    if said in by_letter:
        return by_letter[said]
    for option in options:
        if said in (option.key.lower(), fill(option.text, numbers).lower().rstrip(".")):
            return option
    return None
