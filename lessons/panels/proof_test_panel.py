"""The proof-test interval: the chance of a dead standby from test to test, and its price."""

from typing import ClassVar

from labkit.arguments import count, one_of
from labkit.markov.latent import LatentFaults, latent_faults, latent_text
from lessons.panels.frame import PicturePanel, choice
from lessons.pictures.dead_standby import latent_alt_text, latent_svg

LEAST_WEEKS, MOST_WEEKS = 1, 520
SEEN = {"none": 0.0, "60 %": 0.6, "90 %": 0.9, "99 %": 0.99}

TASK = "Make the interval longer, step by step. What happens to the standby, and to the pair?"


class ProofTestPanel(PicturePanel):
    """Show what the interval of the proof test makes of the standby."""

    drawn = latent_svg, latent_alt_text, latent_text
    # Its teeth stand dashed on the same scale: else those of 13 and of 104 weeks look alike.
    beside_weeks: ClassVar[int] = 26

    def __init__(self, task: str = TASK, *, weeks: int = 26, seen: str = "90 %"):
        count("weeks", weeks, least=LEAST_WEEKS, most=MOST_WEEKS)
        one_of("seen", seen, SEEN)
        self.weeks, self.typed = self.number(
            "Test every", "Weeks from test to test", weeks, LEAST_WEEKS, MOST_WEEKS, "weeks",
            typed="or type, weeks", width=340)
        self.seen = choice("Diagnosis sees", list(SEEN), seen)
        super().__init__(task, [self.weeks, self.typed, self.seen], watch=[self.weeks, self.seen])

    def work_out(self) -> None:
        """Work out the interval once more."""
        self.found = latent_faults(168.0 * self.weeks.value, SEEN[self.seen.value])

    @property
    def shown(self) -> tuple[LatentFaults]:
        return (self.found,)

    def svg(self) -> str:
        weeks, usual = self.beside_weeks, latent_faults(168.0 * self.beside_weeks, self.found.diagnosed)
        beside = None if self.weeks.value == weeks else (f"every {weeks} weeks", usual)
        return latent_svg(self.found, beside=beside)

    def alternative(self) -> str:
        dashed = "" if self.weeks.value == self.beside_weeks else (
            f" Dashed, on the same scale: tests every {self.beside_weeks} weeks.")
        return latent_alt_text(self.found) + dashed

    def line(self) -> str:
        return self.state_text().replace("\n", "<br>")


def proof_test_panel(*, task: str = TASK, weeks: int = 26, seen: str = "90 %") -> ProofTestPanel:
    """Open the panel "proof-test interval".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    weeks : int
        Interval at the start, 1 to 520 weeks.
    seen : str
        One of `SEEN`.

    Returns
    -------
    ProofTestPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If the interval or the share is not among those.

    Examples
    --------
    >>> proof_test_panel(weeks=52, seen="none").text().splitlines()[-1][:31]
    'Pair: 2.324 min a year down by '
    """
    return ProofTestPanel(task, weeks=weeks, seen=seen)
