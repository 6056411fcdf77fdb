"""One hundred controllers of one kind, and how many have not failed yet as the years go by."""

from labkit.wording import HOURS_PER_YEAR
from lessons.panels.frame import PicturePanel
from lessons.pictures.first_failures import (
    first_failures_alt_text,
    first_failures_svg,
    first_failures_text,
    lives_h,
    longest_years,
    still_running,
)

TASK = "Let the years go by. How many have not failed at the MTBF?"


class FirstFailuresPanel(PicturePanel):
    """Show how one hundred controllers fail for the first time."""

    drawn = first_failures_svg, first_failures_alt_text

    def __init__(self, task: str = TASK, *, mtbf_h: float = 60_000.0, seed: int = 2):
        self.mtbf_h, self.lives = mtbf_h, lives_h(mtbf_h, seed=seed)
        longest = longest_years(mtbf_h)
        self.years, typed = self.number("Years", "Years since the common start", 0.0, 0.0, longest, "a",
                                        step=longest / 200)
        super().__init__(task, [self.years, typed], watch=[self.years])

    @property
    def shown(self) -> tuple[tuple[float, ...], float, float]:
        """Times to first failure, the time since the start and the MTBF, in hours."""
        return self.lives, self.years.value * HOURS_PER_YEAR, self.mtbf_h

    def line(self) -> str:
        lives, t_h, _ = self.shown
        return f"<b>{still_running(lives, t_h)} of {len(lives)} have not failed yet.</b>"

    def state_text(self) -> str:
        return f"{self.alternative()}\n{first_failures_text(self.lives, self.mtbf_h)}"


def first_failures_panel(*, task: str = TASK, mtbf_h: float = 60_000.0,
                         seed: int = 2) -> FirstFailuresPanel:
    """Show one hundred controllers, and let time run by a slider or a typed entry.

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    mtbf_h : float
        MTBF in hours, > 0.
    seed : int
        Which hundred lives.

    Returns
    -------
    FirstFailuresPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        Where ``mtbf_h`` is not above zero.

    Examples
    --------
    >>> panel = first_failures_panel()
    >>> panel.years.value = 1.0
    >>> "after 1.00 years" in panel.picture.value
    True
    """
    return FirstFailuresPanel(task, mtbf_h=mtbf_h, seed=seed)
