"""What a step is worth: loss and price of three versions of a plant, with two fail states."""

from __future__ import annotations

from lessons.panels.frame import PicturePanel, choice, tick
from lessons.pictures.loss_and_price import worth_alt_text, worth_svg, worth_verdict

__all__ = ["WorthPanel", "worth_panel"]

SPREADS = {"as long as its mean": "fixed", "longer or shorter, as repairs do": "exponential"}

TASK = "Compare what is left of the loss, and the price. Then let the blowers fail to on."


class WorthPanel(PicturePanel):
    """Show what two steps are worth, while the fail state of the blowers is switched."""

    def __init__(self, task: str = TASK):
        self.air = tick("blowers fail to on", False, tooltip="Blowers fail to on, not to off")
        self.spread = choice("Each outage lasts", SPREADS, "fixed",
                             tooltip="How long an outage lasts")
        super().__init__(task, [self.air, self.spread], watch=[self.air, self.spread])

    def svg(self, *, standalone: bool = False) -> str:
        return worth_svg(self.air.value, self.spread.value, standalone=standalone)

    def alternative(self) -> str:
        return worth_alt_text(self.air.value, self.spread.value)

    def line(self) -> str:
        return "".join(f"<p>{words}</p>"
                       for words in worth_verdict(self.air.value, self.spread.value))


def worth_panel(*, task: str = TASK) -> WorthPanel:
    """Open the panel "what a step is worth".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    WorthPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> worth_panel(task="Tick the box.").text().splitlines()[0]
    'Task: Tick the box.'
    """
    return WorthPanel(task)
