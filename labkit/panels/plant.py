"""The main panel: the plant, a switch for each fault, the roles, the record, the tank.

One screen that reads from the last row. What somebody does and what they see stand side by side;
after each switch the time goes on by the chosen step, so that the result is there at once.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import ipywidgets as widgets

from labkit import boards
from labkit.scheme.layout import layout_of
from labkit.panels.frame import Panel
from labkit.plant import Plant, PlantState, load_plant
from labkit.poster import level_picture
from labkit.rig import Rig
from labkit.scheme import plant_alt_text, plant_svg
from labkit.settings import PairSettings
from labkit.style import PLANT_PANEL

__all__ = ["PlantPanel", "plant_panel"]

STEPS_S = {"1 s": 1.0, "10 s": 10.0, "60 s": 60.0, "5 min": 300.0}
SPEEDS = {"as in life": 1.0, "10 times": 10.0, "60 times": 60.0}
TICK_MS = 250

TASK = "Switch a fault on. Who leads now, and what would stop the plant next?"


class PlantPanel(Panel):
    """Show a plant whose faults can be switched on and off.

    Parameters
    ----------
    rig : callable
        Makes the rig anew, for the start and for "Start again".
    task : str
        What the reader is to do.
    step_s : float
        How far the time goes on after a switch, in s: 1, 10, 60 or 300.

    Raises
    ------
    ValueError
        When `step_s` is none of these.

    Examples
    --------
    >>> panel = PlantPanel(Rig)
    >>> panel.switch("KF1: no power", True)
    >>> panel.rig.snapshot().roles["KF2"].value
    'active'
    """

    style_rules = PLANT_PANEL

    def __init__(self, rig: Callable[[], Rig], *, task: str = TASK, step_s: float = 10.0):
        if step_s not in STEPS_S.values():
            raise ValueError(
                f"step_s must be one of {', '.join(f'{s:g}' for s in STEPS_S.values())}, "
                f"got {step_s}"
            )
        self._new_rig = rig
        self.rig = rig()
        self._layout = layout_of(self.rig.plant)
        self.faults = self.rig.known_faults
        self.switches = self._make_switches()
        self._make_controls(step_s)
        self.headline, self.cards, self.record_board = (widgets.HTML() for _ in range(3))
        self.pictures = (widgets.HTML(), widgets.HTML())
        record = widgets.VBox([self.record_board])
        record.add_class("lk-record")
        super().__init__(task, [self.headline, self._toolbar(), self._columns(), record])
        self.draw()

    # ------------------------------------------------------------ parts

    def _make_switches(self) -> dict[str, widgets.Checkbox]:
        """Make a switch for each fault; they share one layout and one style."""
        layout = widgets.Layout(width="auto")
        style = None
        switches = {}
        for name, fault in self.faults.items():
            switch = widgets.Checkbox(description=fault.label, indent=False, layout=layout)
            style = switch.style = style or switch.style
            switch.add_class("lk-fault")
            switch.observe(
                self.guarded(lambda change, name=name: self.switch(name, change["new"])), "value")
            switches[name] = switch
        return switches

    def _make_controls(self, step_s: float) -> None:
        wide = widgets.Layout(width="auto")
        labelled = {"description_width": "auto"}

        def button(words: str, handler: Callable[[], None]) -> widgets.Button:
            made = widgets.Button(description=words, layout=widgets.Layout(width="auto"))
            made.on_click(self.guarded(lambda _: handler()))
            return made

        self.step = widgets.Dropdown(description="Step", options=list(STEPS_S.items()),
                                     value=step_s, layout=wide, style=labelled)
        self.speed = widgets.Dropdown(description="Speed", options=list(SPEEDS.items()), value=10.0,
                                      layout=wide, style=labelled)
        self.go_on_button = button("Go on", self.go_on)
        self.play_button = button("Play", self.play_or_pause)
        self.start_again_button = button("Start again", self.start_again)
        self.all_off_button = button("All faults off", self.all_off)
        self.change_roles_button = button("Change roles", self.change_roles)
        self.still = widgets.Checkbox(description='write "flashing"',
                                      indent=False, layout=wide)
        self.mark_next = widgets.Checkbox(description="mark weak points",
                                          indent=False, layout=wide)
        for choice in (self.still, self.mark_next):
            choice.add_class("lk-check")
            choice.observe(self.guarded(lambda _: self.draw()), "value")
        self.find = widgets.Text(description="Find a fault", placeholder="such as: KF1, cut, roof",
                                 continuous_update=True, layout=wide, style=labelled)
        self.find.observe(self.guarded(lambda change: self.show_only(change["new"])), "value")
        # The clock ticks in the browser, so that it stops with the page.
        self.ticker = widgets.Play(interval=TICK_MS, max=2**31 - 1)
        self.ticker.add_class("lk-hidden")
        self.ticker.observe(self.guarded(lambda _: self.tick()), "value")
        self.ticker.observe(self.guarded(lambda change: self._name_play(change["new"])),
                            "playing")

    def _toolbar(self) -> widgets.Box:
        """Lay out what acts on time and on all faults at once."""
        bar = widgets.HBox([
            self.step, self.go_on_button, self.speed, self.play_button, self.ticker,
            self.change_roles_button, self.all_off_button, self.start_again_button,
            self.mark_next, self.still,
        ])
        bar.add_class("lk-bar")
        return bar

    def _columns(self) -> widgets.Box:
        """Lay out the switches beside the pictures."""
        groups: dict[str, list[widgets.Widget]] = {}
        for name, switch in self.switches.items():
            groups.setdefault(self.faults[name].place or "anywhere", []).append(switch)
        self.groups = []
        boxes = []
        for place, switches in groups.items():
            head = widgets.HTML('<div class="lk-place" role="heading" aria-level="4">'
                                f"{escape(place)}</div>")
            box = widgets.VBox([head, *switches])
            box.add_class("lk-group")
            boxes.append(box)
            self.groups.append((box, switches))
        self._none_found = widgets.HTML()
        faults = widgets.VBox([self._none_found, *boxes])
        faults.add_class("lk-faults")
        self.find.add_class("lk-find")
        self.cards.add_class("lk-cards")
        controls = widgets.VBox([self.find, faults, self.cards])
        controls.add_class("lk-controls")
        pictures = widgets.VBox(self.pictures)
        pictures.add_class("lk-pictures")
        columns = widgets.Box([controls, pictures])
        columns.add_class("lk-columns")
        return columns

    # ------------------------------------------------------------ what one can do

    def switch(self, fault_id: str, on: bool) -> None:
        """Switch a fault on or off; unless the clock runs, the time goes on by one step.

        Parameters
        ----------
        fault_id : str
            Id of the fault.
        on : bool
            Whether it is to be present.
        """
        if on == (fault_id in self.rig.faults):
            return
        (self.rig.switch_on if on else self.rig.switch_off)(fault_id)
        self.switches[fault_id].value = on
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def go_on(self) -> None:
        """Let the time go on by one step."""
        self.rig.wait(self.step.value)
        self.draw()

    def tick(self) -> None:
        """Let the time go on by one tick of the running clock."""
        self.rig.wait(TICK_MS / 1000 * self.speed.value)
        self.draw()

    def play_or_pause(self) -> None:
        """Start the clock, or stop it."""
        self.ticker.playing = not self.ticker.playing

    def _name_play(self, playing: bool) -> None:
        """Let the button say what it does next."""
        self.play_button.description = "Pause" if playing else "Play"

    def change_roles(self) -> None:
        """Ask for a planned change of roles."""
        self.rig.request_role_change()
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def all_off(self) -> None:
        """Switch all faults off at once."""
        for fault_id in tuple(self.rig.faults):
            self.rig.switch_off(fault_id)
        self._show_switches()
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def start_again(self) -> None:
        """Begin anew at time 0 with everything healthy."""
        self.ticker.playing = False
        self.rig = self._new_rig()
        self._show_switches()
        self.draw()

    def show_only(self, words: str) -> None:
        """Show only the switches whose label, place or sign holds all of the words.

        Parameters
        ----------
        words : str
            Words or parts of words; capitals do not matter.
        """
        wanted = words.lower().split()
        hits = {
            name
            for name, fault in self.faults.items()
            if all(word in f"{fault.label} {fault.place} {fault.id}".lower() for word in wanted)
        }
        for name, switch in self.switches.items():
            _show(switch, name in hits)
        shown = {self.switches[name] for name in hits}
        for box, switches in self.groups:
            _show(box, any(switch in shown for switch in switches))
        self._none_found.value = "" if hits else (
            f"No fault is called &quot;{escape(words)}&quot;. Try a designation, a place, "
            "or what is wrong.")

    # ------------------------------------------------------------ what one can see

    def _show_switches(self) -> None:
        """Bring the switches in line with the rig."""
        for name, switch in self.switches.items():
            switch.value = name in self.rig.faults

    def draw(self) -> None:
        """Show the present state; what has not changed is not sent."""
        view = self.rig.view()
        time_ms = view.snapshot.time_ms
        gap = boards.gap_words(view.record, time_ms)
        scheme, trend = self.pictures
        weak = _next_parts(view.state) if self.mark_next.value else ()
        # What is looked at first is sent first.
        scheme.value = plant_svg(view.plant, view.snapshot, layout=self._layout,
                                 faults=self.faults, weak=weak, still=self.still.value)
        self.headline.value = boards.headline_html(boards.verdict_of(view), time_ms, gap)
        trend.value = level_picture(view)
        self.cards.value = boards.cards_html(view)
        self.record_board.value = boards.record_html(view.record)

    def text(self, entries: int = 200) -> str:
        """Return all that the panel shows, as text.

        Parameters
        ----------
        entries : int
            How many of the latest lines of the record to give, >= 0.

        Returns
        -------
        str
        """
        gap = boards.gap_words(self.rig.record, round(1000 * self.rig.now_s))
        running = f"runs, {self.speed.label}" if self.ticker.playing else "stands"
        return "\n".join(filter(None, [
            super().text(),
            self.rig.text(entries=entries),
            f"Outputs: {gap or 'no gap so far'}.",
            f"Clock {running}; after a switch the time goes on by {self.step.label}. "
            f"{len(self.faults)} faults can be switched on; their names stand in .faults.",
        ]))

    def twin_text(self) -> str:
        """Return the state as text, the record cut short, for a page without controls."""
        return self.text(entries=6)

    def restore(self) -> None:
        """Bring the switches in line with the rig after something went wrong."""
        self._show_switches()

    def still_picture(self) -> tuple[str, str]:
        """Return a picture of the state that stands alone, and its alternative text."""
        snapshot = self.rig.snapshot()
        return (
            plant_svg(self.rig.plant, snapshot, layout=self._layout, faults=self.faults,
                      still=True, standalone=True),
            plant_alt_text(self.rig.plant, snapshot),
        )


def _next_parts(state: PlantState) -> list[str]:
    """Return the parts whose failure would stop the first function of the plant."""
    first = next(iter(state.next_failure_details.values()), ())
    return [failure.name for failure in first if failure.parts == (failure.name,)]


def _show(widget: widgets.DOMWidget, shown: bool) -> None:
    if shown:
        widget.remove_class("lk-hidden")
    else:
        widget.add_class("lk-hidden")


def plant_panel(plant: Plant | str | None = None, settings: PairSettings | None = None, *,
                task: str = TASK, step_s: float = 10.0, seed: int = 1) -> PlantPanel:
    """Open the main panel.

    Parameters
    ----------
    plant : Plant or str, optional
        The plant, or the name or path of its file; the plant of the lessons where it is left out.
    settings : PairSettings, optional
        Settings of the pair.
    task : str
        What the reader is to do; it stands in the panel.
    step_s : float
        How far the time goes on after a switch, in s: 1, 10, 60 or 300.
    seed : int
        Seed of the clocks' phases.

    Returns
    -------
    PlantPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        When `step_s` is none of these, or the plant file has an error.

    Examples
    --------
    >>> panel = plant_panel(task="Cut the power of the active controller.")
    >>> panel.text().splitlines()[0]
    'Task: Cut the power of the active controller.'
    """
    known = load_plant(plant) if isinstance(plant, str) else plant or load_plant()
    return PlantPanel(lambda: Rig(known, settings, seed=seed), task=task, step_s=step_s)
