"""Items answered by choosing: multiple choice, prediction before a run, order of steps."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

from labkit.exercises.items import Case, Hints, Judgement, Verdict, fill, is_blank, shuffled

__all__ = ["NOT_SURE", "Choice", "Option", "Order", "Prediction", "Statement"]

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
        Template: the reason of the right option, a question against a number for a wrong one.
    right : bool or callable
        True for the best option, or a function of the numbers that says so.
    misconception : str or None
        Identifier in the register, for a wrong option.
    """

    key: str
    text: str
    reply: str = ""
    right: bool | Callable[[SimpleNamespace], bool] = False
    misconception: str | None = None

    def is_right(self, numbers: SimpleNamespace) -> bool:
        """Return True where this is the best option for these numbers.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.

        Returns
        -------
        bool
            True for the best option.
        """
        return self.right(numbers) if callable(self.right) else self.right


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
        """Return the options in the order in which this seed shows them.

        Parameters
        ----------
        seed : int
            The learner's seed.

        Returns
        -------
        list of Option
            Each option once.
        """
        return list(self.options) if self.in_order else shuffled(self.options, f"{self.id}:{seed}")

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with lettered options.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides the order of the options.

        Returns
        -------
        str
            Situation, question and options.
        """
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        lines += lettered([fill(o.text, numbers) for o in self.arranged(seed)] + [NOT_SURE])
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge a choice.

        Parameters
        ----------
        answer : str, None or Ellipsis
            The letter, the key or the text of an option, or "not sure".
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides which letter belongs to which option.
        earlier : mapping
            Not used by this type.

        Returns
        -------
        Judgement
            With the key of the option as value.
        """
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        options = self.arranged(seed)
        chosen = chosen_option(answer, options, numbers)
        if chosen is None:
            letters = ", ".join(LETTERS[: len(options) + 1])
            return Judgement(Verdict.UNCLEAR, f"one of {letters} is expected.")
        if chosen == NOT_SURE:
            return Judgement(Verdict.NOT_SURE, value=NOT_SURE)
        reply = fill(chosen.reply, numbers)
        if chosen.is_right(numbers):
            return Judgement(Verdict.RIGHT, reply, chosen.key, score=1.0)
        return Judgement(Verdict.LOOK_AGAIN, reply, chosen.key, chosen.misconception)

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where exactly one option is right and no two read alike.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.

        Returns
        -------
        bool
            False where the question would have no answer, or more than one.
        """
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
    return [f"{letter}) {text}" for letter, text in zip(LETTERS, texts)]


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
    by_letter = dict(zip(LETTERS, [*options, NOT_SURE]))
    if said == NOT_SURE:
        return NOT_SURE
    if said in by_letter:
        return by_letter[said]
    for option in options:
        if said in (option.key.lower(), fill(option.text, numbers).lower().rstrip(".")):
            return option
    return None


@dataclass(frozen=True)
class Statement:
    """One line of the list that is ticked while observing a run.

    Parameters
    ----------
    key, text : str
        Short name for scripts, and template of what may be seen.
    holds : callable
        From the numbers to whether the run shows it; computed by the model that runs.
    """

    key: str
    text: str
    holds: Callable[[SimpleNamespace], bool]


@dataclass(frozen=True)
class Prediction:
    """Commit a choice and one line of "because" before a run. It is noted, never marked.

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective that it serves.
    case : Case
        Situation and numbers.
    ask : str
        Template of the question.
    options : tuple of Option
        What may be predicted; the one that the run shows is right.
    statements : tuple of Statement
        What to look for in the run.
    run : callable
        From the numbers to the text of what the run shows: the text twin of the panel.
    hints : Hints
        Their route is the explanation that follows the run.

    Examples
    --------
    >>> item = Prediction("00-demo", "Demo", "", Case("demo"), "Up or down?",
    ...     (Option("up", "Up", right=True), Option("down", "Down")), (), lambda n: "It is up.")
    >>> item.judge("up because the pump runs", SimpleNamespace(), 0, {}).verdict
    <Verdict.NOTED: 'Noted'>
    """

    id: str
    title: str
    objective: str
    case: Case
    ask: str
    options: tuple[Option, ...]
    statements: tuple[Statement, ...]
    run: Callable[[SimpleNamespace], str]
    hints: Hints = field(default=Hints("", "", ""))

    def arranged(self, seed: int) -> list[Option]:
        """Return the options in the order in which this seed shows them.

        Parameters
        ----------
        seed : int
            The learner's seed.

        Returns
        -------
        list of Option
            Each option once.
        """
        return shuffled(self.options, f"{self.id}:{seed}")

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with lettered options.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides the order of the options.

        Returns
        -------
        str
            Situation, question, options and the form of the answer.
        """
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        lines += lettered([fill(o.text, numbers) for o in self.arranged(seed)] + [NOT_SURE])
        lines.append("Answer: a letter, then 'because' and one line of reason.")
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Note a prediction; a choice without a reason is asked back.

        Parameters
        ----------
        answer : str, None or Ellipsis
            Such as ``"b because the rack has no owner"``.
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides which letter belongs to which option.
        earlier : mapping
            Not used by this type.

        Returns
        -------
        Judgement
            Its value is the pair (key of the option, reason).
        """
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        choice, word, because = (
            re.split(r"(\bbecause\b)", answer, maxsplit=1, flags=re.IGNORECASE) + ["", ""]
            if isinstance(answer, str)
            else ["", "", ""]
        )[:3]
        chosen = chosen_option(choice.strip(" ,.:;-"), self.arranged(seed), numbers)
        if chosen is None:
            letters = ", ".join(LETTERS[: len(self.options) + 1])
            return Judgement(Verdict.UNCLEAR, f"one of {letters} is expected before 'because'.")
        if not because.strip():
            return Judgement(Verdict.UNCLEAR, "a reason is missing. Add 'because' and one line.")
        if chosen == NOT_SURE:
            return Judgement(Verdict.NOTED, value=(NOT_SURE, because.strip()))
        misconception = None if chosen.is_right(numbers) else chosen.misconception
        return Judgement(
            Verdict.NOTED, value=(chosen.key, because.strip()), misconception=misconception
        )

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where the run shows exactly one of the options.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.

        Returns
        -------
        bool
            False where the run would answer nothing.
        """
        return sum(option.is_right(numbers) for option in self.options) == 1

    def said(self, key: str, numbers: SimpleNamespace) -> str:
        """Return the text of an option.

        Parameters
        ----------
        key : str
            Key of an option, or "not sure".
        numbers : SimpleNamespace
            The numbers of the case.

        Returns
        -------
        str
            The text as the learner read it.
        """
        texts = {option.key: fill(option.text, numbers) for option in self.options}
        return texts.get(key, key)


@dataclass(frozen=True)
class Order:
    """Bring cards into order; neighbours in the right order count.

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective that it serves.
    case : Case
        Situation and numbers.
    ask : str
        Template of the question.
    cards : tuple of str
        Templates in the right order.
    reason : str
        Template: one sentence that says why this order is right.
    hints : Hints
        The ladder.
    swaps : mapping
        From a pair of positions (i, j), i before j, to (misconception, question) for an answer
        that puts card j before card i.

    Examples
    --------
    >>> item = Order("00-demo", "Demo", "", Case("demo"), "Sort.", ("notice", "travel", "swap"),
    ...              "A stop is noticed first.", Hints("", "", ""))
    >>> item.judge(["notice", "travel", "swap"], SimpleNamespace(), 0, {}).score
    1.0
    """

    id: str
    title: str
    objective: str
    case: Case
    ask: str
    cards: tuple[str, ...]
    reason: str
    hints: Hints
    swaps: Mapping[tuple[int, int], tuple[str, str]] = field(default_factory=dict)

    def arranged(self, seed: int) -> list[int]:
        """Return the positions of the cards in the order in which this seed shows them.

        Parameters
        ----------
        seed : int
            The learner's seed.

        Returns
        -------
        list of int
            Never the right order.
        """
        order = shuffled(range(len(self.cards)), f"{self.id}:{seed}")
        return order if order != sorted(order) else order[1:] + order[:1]

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with lettered cards.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides the order in which the cards are shown.

        Returns
        -------
        str
            Situation, question and cards.
        """
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        lines += lettered([fill(self.cards[i], numbers) for i in self.arranged(seed)])
        lines.append("Answer: the letters in order.")
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge an order by its pairs of neighbours.

        Parameters
        ----------
        answer : str, sequence of str, None or Ellipsis
            Letters such as ``"c a b"``, or the texts of the cards in order.
        numbers : SimpleNamespace
            The numbers of the case.
        seed : int
            Decides which letter belongs to which card.
        earlier : mapping
            Not used by this type.

        Returns
        -------
        Judgement
            Its score is the share of neighbours that stand in the right order.
        """
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        if isinstance(answer, str) and answer.strip().lower() == NOT_SURE:
            return Judgement(Verdict.NOT_SURE)
        placed = self._placed(answer, numbers, seed)
        if placed is None:
            return Judgement(
                Verdict.UNCLEAR, f"each of the {len(self.cards)} letters is expected once."
            )
        pairs = len(placed) - 1
        kept = sum(b == a + 1 for a, b in zip(placed, placed[1:]))
        value = " ".join(self.cards[i] for i in placed)
        if kept == pairs:
            return Judgement(Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0)
        count = f"{kept} of {pairs} neighbours stand in the right order."
        for (first, second), (misconception, question) in self.swaps.items():
            if placed.index(second) < placed.index(first):
                question = f"{count} {fill(question, numbers)}"
                return Judgement(
                    Verdict.LOOK_AGAIN, question, value, misconception, score=kept / pairs
                )
        return Judgement(Verdict.LOOK_AGAIN, count, value, score=kept / pairs)

    def _placed(self, answer: object, numbers: SimpleNamespace, seed: int) -> list[int] | None:
        shown_order = self.arranged(seed)
        by_name = {LETTERS[place]: card for place, card in enumerate(shown_order)}
        by_name |= {fill(card, numbers).lower(): i for i, card in enumerate(self.cards)}
        if isinstance(answer, str):
            answer = re.findall(r"[a-z]", answer.lower())
        try:
            placed = [by_name[str(name).strip().lower()] for name in answer]
        except (KeyError, TypeError):
            return None
        return placed if sorted(placed) == list(range(len(self.cards))) else None

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where no two cards read alike.

        Parameters
        ----------
        numbers : SimpleNamespace
            The numbers of the case.

        Returns
        -------
        bool
            False where two cards could be exchanged.
        """
        return len({fill(card, numbers) for card in self.cards}) == len(self.cards)
