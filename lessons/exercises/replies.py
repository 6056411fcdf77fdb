"""Feedback: three parts, which start with the word that matters, and what an answer releases."""

from __future__ import annotations

from dataclasses import dataclass

from lessons.exercises.item import Judgement, Verdict

__all__ = ["SOLVED", "STOP_HERE", "MoveJudgement", "Reply"]

SOLVED = "solved"
"""Key among the earlier answers: identifiers of the items that were solved, with any numbers."""


STOP_HERE = "On a real plant, stop here:"
"""First words of every reply to an answer that could hurt somebody."""


@dataclass(frozen=True, repr=False)
class Reply:
    """Feedback in three parts, and what the answer has released.

    Parameters
    ----------
    verdict : Verdict
        What the answer came to; the text starts with its word.
    shows, next_step, offer : str
        What the answer shows; what to check or to do next; what is on offer.
    released : str
        Text that follows now: the run that was predicted, the next step, the model answer.
    misconception : str or None
        Identifier in the register.
    value : object
        The answer as it was read.
    score : float
        Share that is right, 0 to 1.
    rows : tuple of pairs of str
        What stands side by side: prediction, reason, observations. Empty for other replies.
    notice : str
        Why the answer was not kept on the disk; empty if it was.

    Examples
    --------
    >>> Reply(Verdict.UNIT, "the unit is missing.", "Write it once more.")
    Check the unit: the unit is missing. Write it once more.
    """

    verdict: Verdict
    shows: str = ""
    next_step: str = ""
    offer: str = ""
    released: str = ""
    misconception: str | None = None
    value: object = None
    score: float = 0.0
    rows: tuple[tuple[str, str], ...] = ()
    notice: str = ""

    @property
    def feedback(self) -> str:
        """The three parts in one line, which starts with the words that matter, and a notice."""
        word = self.verdict.value
        first = f"{word}: {self.shows}" if self.shows else f"{word}."
        if self.shows.startswith(STOP_HERE):
            first = self.shows
        return " ".join(filter(None, (first, self.next_step, self.offer, self.notice)))

    def __str__(self) -> str:
        return "\n\n".join(filter(None, (self.feedback, self.released)))

    __repr__ = __str__


@dataclass(frozen=True)
class MoveJudgement(Judgement):
    """Hold the outcome of one move of a drill: what the plant says follows with it.

    Parameters
    ----------
    verdict, shows, value, misconception, score
        As in `Judgement`; the value is the list of moves so far.
    next_step : str
        What comes next.
    released : str
        What the plant shows now, or the evaluation.

    Examples
    --------
    >>> MoveJudgement(Verdict.NOTED, "one move.", next_step="Go on.").reply()
    Noted: one move. Go on.
    """

    next_step: str = ""
    released: str = ""

    def reply(self) -> Reply:
        """Return the reply to this move."""
        return Reply(self.verdict, self.shows, self.next_step, "", self.released,
                     self.misconception, self.value, self.score)
