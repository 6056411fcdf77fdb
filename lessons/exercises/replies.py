"""What an answer comes to, and what is said back: three parts, and what the answer releases."""

from dataclasses import dataclass
from enum import Enum

SOLVED = "solved"
"""Key among the earlier answers: identifiers of the items that were solved, with any numbers."""


STOP_HERE = "On a real plant, stop here:"
"""First words of every reply to an answer that could hurt somebody."""


class Verdict(Enum):
    """What an answer came to. The value is the word that a message starts with."""

    BLANK = "Not answered yet"
    UNCLEAR = "Unclear"
    NOT_SURE = "Not sure"
    HINT = "Hint"
    LOOK_AGAIN = "Look again"
    NEAR = "Near"
    UNIT = "Check the unit"
    FOLLOWS = "Follows"
    PARTLY = "Partly right"
    RIGHT = "Right"
    AS_ROUTE = "As in the route"
    NOTED = "Noted"
    SKIPPED = "Shown without predicting"


DONE = (Verdict.RIGHT.name, Verdict.NOTED.name, Verdict.SKIPPED.name)
"""Names of the verdicts after which nothing of an item is left to do."""

UNCOUNTED = (Verdict.UNCLEAR.name, Verdict.NEAR.name)
"""Names of the verdicts after which an item stands as it stood before."""

CLIMBS = (Verdict.LOOK_AGAIN.name, Verdict.NOT_SURE.name, Verdict.PARTLY.name, Verdict.HINT.name)
"""Names of the verdicts that bring the next hint; the full route comes on *Hint* only."""

TOP = 3
"""The rung of the ladder of hints on which the full route is shown."""


def rung_after(rung: int, kind: str, verdict: str, *, moves: bool = False) -> int:
    """Return how far up the ladder of hints an item stands after one more attempt.

    Where answers are moves, such as of a drill, their replies show no hint, and none is passed over.

    >>> rung_after(2, "answer", "LOOK_AGAIN"), rung_after(2, "hint", "HINT")
    (2, 3)
    """
    if verdict in CLIMBS and (kind == "hint" or rung < TOP - 1 and not moves):
        return min(rung + 1, TOP)
    return rung


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
    next_step : str or None
        What comes next; None where the ladder of hints says it.
    released : str
        Text that follows now.
    slip : str
        Which slip it was, as an id that is the same for all numbers; empty where none is known.
    """

    verdict: Verdict
    shows: str = ""
    value: object = None
    misconception: str | None = None
    score: float = 0.0
    next_step: str | None = None
    released: str = ""
    slip: str = ""


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
