"""Two states in time: drawn histories, the share of them that is down, and the exact U(t)."""

from pathlib import Path

import ipywidgets as widgets

from labkit.arguments import positive
from labkit.writing import write_new
from lessons.panels.frame import PicturePanel, choice
from lessons.pictures.settling import (
    Histories,
    live,
    settling_verdict,
    two_states_alt_text,
    two_states_svg,
    two_states_text,
)
from lessons.pictures.svg import alone

WINDOWS = {"12 times the MTTR": (0.0, 12.0), "2 times the MTBF": (2.0, 0.0)}
COUNTS = (8, 50, 200)
STARTS = {"all up": False, "all down": True}
TASK = "From when on does the curve stay at its long run? Change one time after the other."


class TwoStatesPanel(PicturePanel):
    """Show histories of one repairable unit, and how their share down settles."""

    drawn = two_states_svg, two_states_alt_text, two_states_text

    def __init__(self, task: str, *, mtbf_h: float = 100.0, mttr_h: float = 10.0, seed: int = 1):
        self.seed = seed
        self.mtbf, mtbf_row = self._time("MTBF", mtbf_h, 1.0, 100_000.0)
        self.mttr, mttr_row = self._time("MTTR", mttr_h, 0.5, 100.0)
        self.window = choice("Time shown", WINDOWS, (0.0, 12.0))
        self.count = choice("Histories", COUNTS, 200)
        self.start = choice("Start", STARTS, False)
        self.others = self.button("Other histories", self.draw_others)
        self.keep_button = self.button("Keep picture", self.keep)
        self.kept = widgets.HTML()
        super().__init__(
            task, [mtbf_row, mttr_row],
            [self.window, self.count, self.start, self.others, self.keep_button],
            watch=[self.mtbf, self.mttr, self.window, self.count, self.start], below=[self.kept])

    def _time(self, words: str, value: float, least: float, most: float):
        """Return a slider, and a row of it and a typed entry that goes with it."""
        if not least <= positive(f"{words.lower()}_h", value) <= most:
            raise ValueError(f"{words.lower()}_h must be from {least:g} to {most:g}, got {value}")
        slider, entry = self.number(f"slide {words}", f"{words} [h]", value, least, most, "h", step=0.05,
                                    typed=f"{words} [h]", width=225, decades=True)
        return slider, widgets.HBox([entry, slider])

    @property
    def lives(self) -> Histories:
        """The lives as they stand in the controls."""
        mtbf_h, mttr_h = self.mtbf.value, self.mttr.value
        of_mtbf, of_mttr = self.window.value
        return live(mtbf_h, mttr_h, of_mtbf * mtbf_h + of_mttr * mttr_h, lives=self.count.value,
                    starts_down=self.start.value, seed=self.seed)

    @property
    def shown(self) -> tuple[Histories]:
        return (self.lives,)

    def line(self) -> str:
        return f"<b>{settling_verdict(self.lives)}</b>"

    def draw_others(self) -> None:
        """Draw other lives with the same settings."""
        self.seed += 1
        self.draw()

    def keep(self) -> None:
        """Write the picture into the working folder, never over one that is there."""
        path = write_new(Path.cwd(), "two-states.svg", alone(self.svg()))
        # What was typed right before the press may come after it: so the line says what was kept.
        of, *_ = self.state_text().splitlines()
        self.kept.value = f"<p>Kept: {path.name}, beside this notebook. {of}</p>"


def two_states_panel(*, task: str = TASK, mtbf_h: float = 100.0, mttr_h: float = 10.0,
                     seed: int = 1) -> TwoStatesPanel:
    """Open the panel "two states in time".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    mtbf_h, mttr_h : float
        Where the controls stand first, hours; MTBF 1 to 100 000, MTTR 0.5 to 100.
    seed : int
        Seed of the first lives.

    Returns
    -------
    TwoStatesPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If a time is beyond what its slider can show.

    Examples
    --------
    >>> two_states_panel(task="Look.").text().splitlines()[0]
    'Task: Look.'
    """
    return TwoStatesPanel(task, mtbf_h=mtbf_h, mttr_h=mttr_h, seed=seed)
