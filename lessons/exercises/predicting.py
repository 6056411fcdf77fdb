"""The prediction item: a choice and its reason, committed before a run, and never marked."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

from lessons.exercises.choosing import LETTERS, NOT_SURE, Option, chosen_option, lettered
from lessons.exercises.item import Case, Hints, Judgement, Verdict, fill, is_blank, shuffled

__all__ = ["Prediction", "Statement"]


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
    at_panel : str
        What to do at the panel on which the run is observed; it stands in the panel.
    hints : Hints
        The ladder, for those who ask before they commit.

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
    at_panel: str = ""
    hints: Hints = field(default=Hints("", "", ""))

    def arranged(self, seed: int) -> list[Option]:
        """Return the options in the order in which this seed shows them."""
        return shuffled(self.options, f"{self.id}:{seed}")

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with lettered options."""
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        lines += lettered([fill(o.text, numbers) for o in self.arranged(seed)] + [NOT_SURE])
        lines.append("Answer: a letter, then 'because' and one line of reason.")
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Note a prediction; a choice without a reason is asked back."""
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
        """Return True where the run shows exactly one of the options."""
        return sum(option.is_right(numbers) for option in self.options) == 1

    def said(self, key: str, numbers: SimpleNamespace) -> str:
        """Return the text of an option."""
        texts = {option.key: fill(option.text, numbers) for option in self.options}
        return texts.get(key, key)
