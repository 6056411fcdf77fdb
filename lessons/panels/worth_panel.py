"""What a step is worth: loss and price of three versions of a plant, with two fail states."""

from labkit.plant.plant import Plant, load_plant
from labkit.plant.variants import Outcome, compare_variants
from lessons.panels.frame import PicturePanel, choice, tick
from lessons.pictures.loss_and_price import (
    variants_alt_text,
    variants_svg,
    worth_alt_text,
    worth_svg,
    worth_verdict,
)

SPREADS = {"as long as its mean": "fixed", "longer or shorter, as repairs do": "exponential"}

TASK = "Compare what is left of the loss, and the price. Then let the blowers fail to on."

VARIANTS_TASK = "Compare what is left of the loss, and the price, of each variant."


def _spread(begin: str):
    return choice("Each outage lasts", SPREADS, begin, tooltip="How long an outage lasts")


class WorthPanel(PicturePanel):
    """Show what two steps are worth, while the fail state of the blowers is switched."""

    drawn = worth_svg, worth_alt_text

    def __init__(self, task: str = TASK):
        self.air = tick("blowers fail to on", False, tooltip="Blowers fail to on, not to off")
        self.spread = _spread("fixed")  # as the lesson adds it up by hand
        super().__init__(task, [self.air, self.spread], watch=[self.air, self.spread])

    @property
    def shown(self) -> tuple[bool, str]:
        return self.air.value, self.spread.value

    def line(self) -> str:
        return "".join(f"<p>{words}</p>" for words in worth_verdict(*self.shown))


class VariantsPanel(PicturePanel):
    """Show what the variants of a plant lose and cost a year."""

    drawn = variants_svg, variants_alt_text

    def __init__(self, plant: Plant, task: str):
        self.plant = plant
        self.spread = _spread("exponential")  # as the comparison of the plant, on paper
        super().__init__(task, [self.spread], watch=[self.spread])

    @property
    def shown(self) -> tuple[tuple[Outcome, ...], str]:
        return compare_variants(self.plant, self.spread.value), self.plant.currency


def worth_panel(plant: str | None = None, *, task: str = TASK) -> WorthPanel | VariantsPanel:
    """Open the panel "what a step is worth".

    Parameters
    ----------
    plant : str, optional
        A plant file, or the name of one that comes along: its variants are compared. Default: three
        versions of the plant of the lessons, with two fail states.
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    WorthPanel or VariantsPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> worth_panel(task="Tick the box.").text().splitlines()[0]
    'Task: Tick the box.'
    """
    if plant is None:
        return WorthPanel(task)
    return VariantsPanel(load_plant(plant), VARIANTS_TASK if task == TASK else task)
