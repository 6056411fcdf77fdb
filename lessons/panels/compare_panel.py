"""Two settings of the pair side by side: one set of switches acts on two plants that are alike.

Both run on the same clock and the same phases, so what differs comes from the settings alone.
"""

from collections.abc import Callable, Sequence

import ipywidgets as widgets

from labkit.plant.plant import Plant, load_plant
from labkit.rig.rig import Rig, RigView
from labkit.switchover.settings import PairSettings
from lessons.panels.fault_list import FaultList
from lessons.panels.frame import Panel, choice, verdict_html
from lessons.panels.plant_panel import STEPS_S, one_of_steps
from lessons.panels.rig_page import HEAD, head_values
from lessons.pictures.look import style_sheet
from lessons.pictures.plant_picture import plant_alt_text, plant_svg
from lessons.pictures.slots import filled
from lessons.pictures.trend import level_picture
from lessons.pictures.two_rigs import (
    comparison_html,
    comparison_rows,
    comparison_text,
    comparison_verdict,
)

TASK = "Switch a fault on. Where do A and B part, and what does it cost?"


class ComparePanel(Panel):
    """Show two rigs with other settings, on which the same is done.

    Parameters
    ----------
    rigs : sequence of callable
        Two of them: each makes its rig anew, A first.
    task : str
        What the reader is to do.
    step_s : float
        How far the time goes on after a switch, in s: 1, 10, 60 or 300.

    Raises
    ------
    ValueError
        When `step_s` is none of these, or `rigs` are not two.

    >>> panel = ComparePanel([Rig, lambda: Rig(settings=PairSettings(ask_racks=False))])
    >>> panel.switch("WF9: cut", True)
    >>> [len(rig.snapshot().writes_fight) for rig in panel.rigs]
    [0, 3]
    """

    style_rules = style_sheet(__file__)

    def __init__(self, rigs: Sequence[Callable[[], Rig]], *, task: str = TASK,
                 step_s: float = 10.0):
        if len(rigs) != 2:
            raise ValueError(f"rigs must be two, got {len(rigs)}")
        self._new_rigs = tuple(rigs)
        self.rigs = tuple(make() for make in rigs)
        self.fault_list = FaultList(self.rigs[0].known_faults, self.switch, self.guarded)
        self.switches = self.fault_list.switches
        self.said, self.table = widgets.HTML(), widgets.HTML()
        self.headlines = (widgets.HTML(), widgets.HTML())
        self.trends = (widgets.HTML(), widgets.HTML())
        pictures = widgets.VBox([self.said, self.table, self.headlines[0], self.trends[0],
                                 self.headlines[1], self.trends[1]])
        pictures.add_class("lk-pictures")
        for trend in self.trends:
            trend.add_class("lk-chart")
        self.fault_list.box.add_class("lk-controls")
        columns = widgets.Box([self.fault_list.box, pictures])
        columns.add_class("lk-columns")
        super().__init__(task, [self._toolbar(step_s), columns])
        self.add_class("lk-compare")
        self.draw()

    def _toolbar(self, step_s: float) -> widgets.Box:
        self.step = choice("Step", STEPS_S, one_of_steps(step_s))
        bar = widgets.HBox([self.step, self.button("Go on", self.go_on),
                            self.button("Switch over", self.change_roles),
                            self.button("All faults off", self.all_off),
                            self.button("Start again", self.start_again)])
        bar.add_class("lk-bar")
        return bar

    # ------------------------------------------------------------ what one can do

    def switch(self, fault_id: str, on: bool) -> None:
        """Switch a fault on or off in both, and let the time go on by one step.

        Parameters
        ----------
        fault_id : str
            Id of the fault.
        on : bool
            Whether it is to be present.
        """
        if on == (fault_id in self.rigs[0].faults):
            return
        for rig in self.rigs:
            (rig.switch_on if on else rig.switch_off)(fault_id)
        self.switches[fault_id].value = on
        self.go_on()

    def go_on(self) -> None:
        """Let the time go on by one step in both."""
        for rig in self.rigs:
            rig.wait(self.step.value)
        self.draw()

    def change_roles(self) -> None:
        """Ask for a planned switchover in both."""
        for rig in self.rigs:
            rig.request_role_change()
        self.go_on()

    def all_off(self) -> None:
        """Switch all faults off in both."""
        for rig in self.rigs:
            for fault_id in tuple(rig.faults):
                rig.switch_off(fault_id)
        self.restore()
        self.go_on()

    def start_again(self) -> None:
        """Begin anew at time 0 with everything healthy."""
        self.rigs = tuple(make() for make in self._new_rigs)
        self.restore()
        self.draw()

    # ------------------------------------------------------------ what one can see

    def views(self) -> tuple[RigView, RigView]:
        """Return the state of A and of B."""
        one, two = self.rigs
        return one.view(), two.view()

    def draw(self) -> None:
        """Show the present state of both; what has not changed is not sent."""
        views = self.views()
        rows = comparison_rows(*views)
        self.said.value = verdict_html(f"<b>{comparison_verdict(rows)}</b>")
        self.table.value = comparison_html(rows)
        for letter, view, headline, trend in zip("AB", views, self.headlines, self.trends,
                                                 strict=True):
            headline.value = filled(HEAD, head_values(view, f"{letter}: "))
            trend.value = level_picture(view)

    def text(self) -> str:
        """Return all that the panel shows, as text."""
        on = [self.rigs[0].known_faults[each].label for each in self.rigs[0].faults]
        rows = comparison_rows(*self.views())
        return "\n".join(filter(None, [
            super().text(),
            f"The same faults on two settings, t = {self.rigs[0].now_s:.3f} s. "
            f"Faults on: {'; '.join(on) or 'none'}.",
            comparison_verdict(rows),
            comparison_text(rows),
        ]))

    def restore(self) -> None:
        """Bring the switches in line with the rigs after something went wrong."""
        self.fault_list.bring_in_line(self.rigs[0].faults)

    def still_picture(self) -> tuple[str, str]:
        """Return a picture of B that stands alone, and its alternative text."""
        rig = self.rigs[1]
        snapshot = rig.snapshot()
        return (plant_svg(rig.plant, snapshot, standalone=True),
                f"Settings B. {plant_alt_text(rig.plant, snapshot)}")


def compare_panel(settings_a: PairSettings, settings_b: PairSettings, *,
                  plant: Plant | str | None = None, task: str = TASK, step_s: float = 10.0,
                  seed: int = 1) -> ComparePanel:
    """Open two plants that differ in the settings of the pair, with one set of switches.

    Parameters
    ----------
    settings_a, settings_b : PairSettings
    plant : Plant or str, optional
        The plant, or the name or path of its file; the plant of the lessons where it is left out.
    task : str
        What the reader is to do; it stands in the panel.
    step_s : float
        How far the time goes on after a switch, in s: 1, 10, 60 or 300.
    seed : int
        Seed of the clocks' phases, the same for both.

    Returns
    -------
    ComparePanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        When `step_s` is none of these, or the plant file has an error.

    Examples
    --------
    >>> panel = compare_panel(PairSettings(), PairSettings(hold_ms=100), step_s=60.0)
    >>> panel.switch("KF1: no power", True)
    >>> [rig.event_cost for rig in panel.rigs]
    [0.0, 11000.0]
    """
    known = load_plant(plant) if isinstance(plant, str) else plant or load_plant()
    return ComparePanel([lambda: Rig(known, settings_a, seed=seed),
                         lambda: Rig(known, settings_b, seed=seed)], task=task, step_s=step_s)
