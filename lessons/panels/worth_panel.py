"""What a step is worth: loss and price of three versions of a plant, with two fail states."""

from __future__ import annotations

import functools

import ipywidgets as widgets

from labkit.plant.plant import load_plant
from labkit.plant.variants import DURATIONS, Outcome, compare_variants
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text

__all__ = ["WorthPanel", "worth_alt_text", "worth_panel", "worth_svg"]

WIDTH, HEIGHT = 900.0, 332.0
LEFT, RIGHT, TOP, ROW = 250.0, 760.0, 52.0, 62.0
MOST_EUR = 20_000
VERSIONS = {"V0": "everything single", "V1a": "second controller", "V1b": "supply, UPS doubled"}
SPREADS = {"as long as its mean": "fixed", "longer or shorter, as repairs do": "exponential"}

TASK = "Compare what is left of the loss, and the price. Then let the blowers fail to on."


@functools.cache
def _outcomes(durations: str) -> dict[str, Outcome]:
    return {each.variant: each for each in compare_variants(load_plant(), durations)}


def _three(air: bool, durations: str) -> list[tuple[str, float, float, float]]:
    """Return name, loss, price beside the first, and minutes without control, all a year."""
    if durations not in DURATIONS:
        raise ValueError(f"durations must be {' or '.join(DURATIONS)}, got {durations!r}")
    ending = " air" if air else ""
    found = [(words, _outcomes(durations)[f"{version}{ending}"])
             for version, words in VERSIONS.items()]
    base = found[0][1].price_per_year
    return [(words, each.loss_per_year, each.price_per_year - base,
             each.down_min_per_year["control kept"]) for words, each in found]


def _money(amount: float) -> str:
    return f"{amount:,.0f}".replace(",", " ")


def _gains(air: bool, durations: str) -> list[str]:
    (_, first, _, _), *rows = _three(air, durations)
    return [f"{words}: gain {_money(first - loss)}, price {_money(price)}, "
            f"net {_money(first - loss - price)}; control down {down:.0f} min"
            for words, loss, price, down in rows]


def worth_alt_text(air: bool = False, durations: str = "fixed") -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    air : bool
        Whether the blowers fail to on.
    durations : str
        ``fixed`` or ``exponential``; see `labkit.plant.variants`.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If `durations` is neither.

    Examples
    --------
    >>> worth_alt_text().startswith("Bars of loss and price in EUR a year, blowers fail to off.")
    True
    """
    (_, loss, _, down), *_ = _three(air, durations)
    gains = " ".join(f"{words[0].upper()}{words[1:]}." for words in _gains(air, durations))
    return (f"Bars of loss and price in EUR a year, blowers fail to {'on' if air else 'off'}. "
            f"Everything single: loss {_money(loss)}; control down {down:.0f} min. {gains}")


def worth_svg(air: bool = False, durations: str = "fixed", *, standalone: bool = False) -> str:
    """Draw loss and price a year of the three versions as bars.

    Parameters
    ----------
    air : bool
        Whether the blowers fail to on.
    durations : str
        ``fixed`` or ``exponential``; see `labkit.plant.variants`.
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Raises
    ------
    ValueError
        If `durations` is neither.

    Examples
    --------
    >>> worth_svg().count("<svg")
    1
    """
    def x(amount: float) -> float:
        return LEFT + amount / MOST_EUR * (RIGHT - LEFT)

    rows = _three(air, durations)
    floor = TOP + ROW * len(rows)
    parts = [text(12, 24, f"EUR a year, blowers fail to {'on' if air else 'off'}", "b", size=17),
             rectangle(480, 8, 26, 18, "now", 0), text(514, 23, "loss by outages"),
             rectangle(670, 8, 26, 18, "card", 0), text(704, 23, "price of the step")]
    for amount in range(0, MOST_EUR + 1, 5000):
        parts.append(line([(x(amount), TOP), (x(amount), floor)], "grid"))
        parts.append(text(x(amount), floor + 18, _money(amount), "q", size=14, anchor="middle"))
    first = x(rows[0][1])
    for place, (words, loss, price, _) in enumerate(rows):
        top = TOP + ROW * place + 8
        parts.append(text(LEFT - 10, top + 29, words, size=16, anchor="end"))
        parts.append(rectangle(LEFT, top, x(loss) - LEFT, 44, "now", 0))
        if price:
            parts.append(rectangle(x(loss), top, x(loss + price) - x(loss), 44, "card", 0))
        parts.append(text(max(x(loss + price), first) + 10, top + 29,
                          f"{_money(loss)} + {_money(price)}" if price else _money(loss),
                          "over", size=15))
    parts.append(line([(first, TOP), (first, floor)], "limit"))
    said = [f"everything single: control down {rows[0][3]:.0f} min", *_gains(air, durations)]
    for place, words in enumerate(said):
        parts.append(text(12, floor + 42 + 20 * place, words, "b", size=15))
    return document(parts, WIDTH, HEIGHT, worth_alt_text(air, durations), standalone=standalone)


class WorthPanel(Panel):
    """Show what two steps are worth, while the fail state of the blowers is switched.

    Parameters
    ----------
    task : str
        What the reader is to do.

    Examples
    --------
    >>> panel = WorthPanel(TASK)
    >>> panel.air.value = True
    >>> "fail to on" in panel.picture.value
    True
    """

    def __init__(self, task: str = TASK):
        self.air = widgets.Checkbox(
            description="blowers fail to on", value=False, indent=False,
            layout=widgets.Layout(width="auto", margin="2px 28px 2px 2px"),
            tooltip="Blowers fail to on, not to off")
        self.spread = widgets.Dropdown(
            description="Each outage lasts", options=list(SPREADS.items()), value="fixed",
            style={"description_width": "auto"}, layout=widgets.Layout(width="auto"),
            tooltip="How long an outage lasts")
        self.picture = widgets.HTML()
        for control in (self.air, self.spread):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        row = widgets.HBox([self.air, self.spread])
        row.layout.flex_flow = "row wrap"
        super().__init__(task, [row, self.picture])
        self.draw()

    def draw(self) -> None:
        """Show the present fail state."""
        self.picture.value = worth_svg(self.air.value, self.spread.value)

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return worth_alt_text(self.air.value, self.spread.value)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        air, durations = self.air.value, self.spread.value
        return worth_svg(air, durations, standalone=True), worth_alt_text(air, durations)


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
