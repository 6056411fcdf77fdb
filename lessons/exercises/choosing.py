"""The choice item: one best option, where each wrong one points to a misconception."""

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from lessons.exercises.item import (
    LETTERS,
    NOT_SURE,
    Hints,
    Item,
    KnownError,
    fill,
    is_not_sure,
    lettered,
    shuffled,
)
from lessons.exercises.on_paper import Form
from lessons.exercises.replies import Judgement, Verdict


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

    DIGESTED = ("key", "text", "right")

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


BEFORE_LETTER = r"(?:(?:i (?:choose|take|say|think)|it is|it's|the answer is|option|answer|letter)[ :]+)*"


def meant(said: str, named: Mapping[str, Any]) -> Any:
    """Return what a text names, or the beginning of one text and no other; None for neither.

    >>> named = {"The pair, since it does all": 1, "310 ms": 2, "It pays": 3, "It pays less": 4}
    >>> [meant(said, named) for said in ("pair", "310", "it pays.", "it", "pays", "THE PAIR, since")]
    [1, 2, 3, None, None, 1]
    """
    said, texts = _plain(said), {_plain(text): value for text, value in named.items()}
    if said in texts or not said:
        return texts.get(said)
    begun = [text for text in texts if re.match(rf"{re.escape(said)}(?![^\W_])", text)]
    # One word alone says enough where it is a number, or all there is before a sign.
    enough = re.search(r"[ \d]", said) or (begun and re.match(r"[,:;]", begun[0][len(said):]))
    return texts[begun[0]] if len(begun) == 1 and enough else None


def _plain(text: str) -> str:
    text = " ".join(unicodedata.normalize("NFKC", text).lower().split()).strip("\"'.!) ")
    return re.sub("^(?:the|an?|about) ", "", text)


@dataclass(frozen=True)
class OptionItem(Item):
    """What the items with options have in common.

    Parameters
    ----------
    options : tuple of Option
        One of them right. Shown in an order that depends on the seed.
    """

    DIGESTED = (*Item.DIGESTED, "options")
    in_order = False
    """True where the options have a natural order, as ranges have."""

    options: tuple[Option, ...]

    def arranged(self, seed: int) -> list[Option]:
        """Return the options in the order in which this seed shows them."""
        return list(self.options) if self.in_order else shuffled(self.options, f"{self.id}:{seed}")

    def lettered_options(self, numbers: SimpleNamespace, seed: int) -> dict[str, str]:
        """Return what may be chosen, "not sure" the last: from its text to its key."""
        options = self.arranged(seed)
        texts = lettered([*(fill(option.text, numbers) for option in options), NOT_SURE])
        return dict(zip(texts, [*(option.key for option in options), NOT_SURE], strict=True))

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return the lettered options."""
        return list(self.lettered_options(numbers, seed))

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the options in the order of the seed, "not sure" the last."""
        return Form((*(fill(option.text, numbers) for option in self.arranged(seed)), NOT_SURE))

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return the letter of the right option."""
        return (LETTERS[self.arranged(seed).index(self.best(numbers))],)

    def chosen(self, answer: object, numbers: SimpleNamespace, seed: int) -> Option | str | None:
        """Return the option that a letter, key or text names, or NOT_SURE; None without one."""
        if not isinstance(answer, str):
            return None
        if is_not_sure(answer):
            return NOT_SURE
        options = self.arranged(seed)
        # "(d)", "option d", "d) and its text": the letter decides.
        letters = dict(zip(LETTERS, [*options, NOT_SURE], strict=False))
        said = answer.strip().lower().rstrip(").")
        letter = re.fullmatch(rf"{BEFORE_LETTER}\(?([a-z])(?:[).:,;]+ ?.*| because .*)?", said, re.DOTALL)
        texts = {fill(option.text, numbers): option for option in options}
        keys = {option.key.lower(): option for option in options}
        return (texts.get(answer) or (letter and letters.get(letter[1])) or keys.get(said)
                or meant(answer, texts))

    @property
    def letters(self) -> str:
        """The letters that may be chosen."""
        return ", ".join(LETTERS[: len(self.options) + 1])

    def written(self, option: Option) -> str:
        """Return what to write to choose an option."""
        return option.key

    def best(self, numbers: SimpleNamespace) -> Option:
        """Return the option that is right."""
        return next(option for option in self.options if option.is_right(numbers))

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return what to write for the right option."""
        return self.written(self.best(numbers))

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the wrong options."""
        for option in self.options:
            if not option.is_right(numbers):
                yield KnownError(self.written(option), option.misconception,
                                 fill(option.text, numbers), option.said_back(numbers))


@dataclass(frozen=True)
class Choice(OptionItem):
    """Choose one option, or "not sure".

    Parameters
    ----------
    id, title, objective, case, ask, options
        As in `OptionItem`.
    hints : Hints
        The ladder.
    voting : bool
        True for a question that a class may vote on.
    in_order : bool
        True where the options have a natural order, as ranges have.

    >>> from lessons.exercises.item import Case
    >>> item = Choice("00-demo", "Demo", "", Case("demo"), "Which?",
    ...               (Option("x", "This", right=True), Option("y", "That")), Hints("", "", ""))
    >>> item.judge("This", SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    hints: Hints
    voting: bool = False
    in_order: bool = False

    def control(self) -> type:
        """Return the class of its controls."""
        from lessons.exercises.item_controls import ChoiceControl

        return ChoiceControl

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge a choice."""
        chosen = self.chosen(answer, numbers, seed)
        if chosen is None:
            return Judgement(Verdict.UNCLEAR, f"one of {self.letters} is expected.")
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

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the right option and its reason."""
        best = self.best(numbers)
        return (f"{fill(best.text, numbers)}; {best.said_back(numbers)}",)
