"""Two actives: who leads, who writes the rack, and which value stands there."""

from labkit.arguments import one_of
from labkit.rig.writers import SITUATIONS, WritersRun, writers_run, writers_text
from labkit.wording import capital
from lessons.panels.frame import PicturePanel, choice, tick
from lessons.pictures.writers_picture import writers_alt_text, writers_svg

CLOCKS = 8

TASK = "Let the racks be asked, then not. Who leads, and who writes the rack?"


class WritersPanel(PicturePanel):
    """Show who leads and who writes, while the fault and the rules are changed."""

    drawn = writers_svg, writers_alt_text, writers_text

    def __init__(self, task: str = TASK, *, situation: str = "sync cable cut",
                 ask_racks: bool = True):
        self.situation = choice("Fault at 0 ms", list(SITUATIONS), situation)
        self.ask = tick("ask the racks first", ask_racks)
        self.vote = tick("third voter must agree", False)
        self.phase = choice("Clocks", {f"draw {n}": n for n in range(1, CLOCKS + 1)}, 1)
        rows = [self.situation, self.phase], [self.ask, self.vote]
        super().__init__(task, *rows, watch=[each for row in rows for each in row])

    def work_out(self) -> None:
        """Run the situation once more."""
        self.run = writers_run(self.situation.value, ask_racks=self.ask.value,
                               third_vote=self.vote.value, seed=self.phase.value)

    @property
    def shown(self) -> tuple[WritersRun]:
        return (self.run,)

    def line(self) -> str:
        return f"<b>{capital(self.run.verdict)}.</b>"


def writers_panel(*, task: str = TASK, situation: str = "sync cable cut",
                  ask_racks: bool = True) -> WritersPanel:
    """Open the panel "two actives".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    situation : str
        One of `labkit.rig.writers.SITUATIONS`.
    ask_racks : bool
        Whether the racks are asked at the start.

    Returns
    -------
    WritersPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If there is no such situation.

    Examples
    --------
    >>> writers_panel(ask_racks=False).text().splitlines()[-1]
    'In short: both write by turns: the rack changes its writer 50 times a second.'
    """
    return WritersPanel(task, situation=one_of("situation", situation, SITUATIONS),
                        ask_racks=ask_racks)
