"""Time-out and false takeovers: one setting, two ways to be wrong, in one picture."""

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import MOST_BEATS, time_out_text, time_out_verdict
from lessons.panels.frame import PicturePanel, choice, tick
from lessons.pictures.time_out_picture import time_out_alt_text, time_out_svg

BEATS_MS = {"20 ms": 20, "50 ms": 50, "100 ms": 100}
LOSSES = {"0.1 %": 0.001, "1 %": 0.01, "5 %": 0.05}
BEAT_GAPS_MS = {"none": 0.0, "100 ms": 100.0, "200 ms": 200.0, "500 ms": 500.0}

TASK = "Miss one beat more, then one less. What gets better, what gets worse?"


class TimeOutPanel(PicturePanel):
    """Show what a time-out brings and costs, while its settings are moved."""

    drawn = time_out_svg, time_out_alt_text, time_out_text

    def __init__(self, task: str = TASK):
        self.beats, self.typed = self.number("Missed beats", "Beats missed in a row", 3, 1, MOST_BEATS, "")
        self.beat = choice("Beat every", BEATS_MS, 50)
        self.loss = choice("Lost singly", LOSSES, 0.01)
        self.gap = choice("Gaps of beats, one a minute, of", BEAT_GAPS_MS, 0.0)
        self.ask = tick("ask the racks first", True)
        super().__init__(task, [self.beats, self.typed, self.beat],
                         [self.loss, self.gap, self.ask],
                         watch=[self.beats, self.beat, self.loss, self.gap, self.ask])

    @property
    def settings(self) -> PairSettings:
        """Settings as they stand in the controls."""
        return PairSettings(heartbeat_ms=self.beat.value, missed_beats=self.beats.value,
                            ask_racks=self.ask.value)

    @property
    def channel(self) -> Channel:
        """Losses as they stand in the controls."""
        return Channel(loss=self.loss.value, beat_gap_ms=self.gap.value)

    @property
    def shown(self) -> tuple[PairSettings, Channel]:
        return self.settings, self.channel

    def line(self) -> str:
        first, *others = time_out_verdict(*self.shown)
        return f"<b>{first}</b> {' '.join(others)}"


def time_out_panel(*, task: str = TASK) -> TimeOutPanel:
    """Open the panel "time-out and false takeovers".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    TimeOutPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> time_out_panel(task="Try 1 to 6.").text().splitlines()[0]
    'Task: Try 1 to 6.'
    """
    return TimeOutPanel(task)
