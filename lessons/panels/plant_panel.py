"""The main panel: the plant, a switch for each fault, the roles, the record, the tank.

One screen that reads from the last row. What somebody does and what they see stand side by side;
after each switch the time goes on by the chosen step, so that the result is there at once.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from labkit.plant.plant import Plant, PlantState, load_plant
from labkit.rig.rig import Rig
from labkit.rig.stories import Story, find_stories
from labkit.switchover.settings import PairSettings
from lessons.panels.fault_list import FaultList
from lessons.panels.frame import Panel
from lessons.panels.story_bar import StoryBar
from lessons.pictures import boards
from lessons.pictures.layout import layout_of
from lessons.pictures.look import style_sheet
from lessons.pictures.plant_picture import plant_alt_text, plant_svg
from lessons.pictures.trend import level_picture

__all__ = ["PlantPanel", "plant_panel"]

STYLE = style_sheet(__file__)
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
    projector : bool
        Whether it is laid out for a wall: large type, no code, the story beside the picture.
    story : Story, optional
        A story to begin with.
    folder : str or Path
        Where stories and records are written.

    Raises
    ------
    ValueError
        When `step_s` is none of these, or the story is one of another plant.

    >>> panel = PlantPanel(Rig)
    >>> panel.switch("KF1: no power", True)
    >>> panel.rig.snapshot().roles["KF2"].value
    'active'
    """

    style_rules = STYLE

    def __init__(self, rig: Callable[[], Rig], *, task: str = TASK, step_s: float = 10.0,
                 projector: bool = False, story: Story | None = None, folder: str | Path = "."):
        if step_s not in STEPS_S.values():
            raise ValueError(
                f"step_s must be one of {', '.join(f'{s:g}' for s in STEPS_S.values())}, "
                f"got {step_s}"
            )
        self._new_rig = rig
        self.rig = rig()
        self._layout = layout_of(self.rig.plant)
        self.faults = self.rig.known_faults
        self.fault_list = FaultList(self.faults, self.switch, self.guarded)
        self.switches, self.groups = self.fault_list.switches, self.fault_list.groups
        self.find = self.fault_list.find
        self._make_controls(step_s)
        self.headline, self.cards, self.record_board = (widgets.HTML() for _ in range(3))
        self.cards.add_class("lk-cards")
        self.pictures = (widgets.HTML(), widgets.HTML())
        record = widgets.VBox([self.record_board])
        record.add_class("lk-record")
        self.story_bar = StoryBar(lambda: self.rig, self.show_rig, self.guarded, folder)
        keep = self.story_bar.bar
        if projector:
            parts = [self.headline, self._wall(), self._toolbar(), self.fault_list.box,
                     record, keep]
        else:
            parts = [self.headline, self._toolbar(), self.story_bar.box, self._columns(), record,
                     keep]
        super().__init__(task, parts)
        if projector:
            self.add_class("lk-projector")
        if story is None:
            self.draw()
        else:
            self.story_bar.open(story)

    # ------------------------------------------------------------ parts

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
        self.change_roles_button = button("Switch over", self.change_roles)
        self.still = widgets.Checkbox(description='write "flashing"',
                                      indent=False, layout=wide)
        self.mark_next = widgets.Checkbox(description="mark weak points",
                                          indent=False, layout=wide)
        for choice in (self.still, self.mark_next):
            choice.add_class("lk-check")
            choice.observe(self.guarded(lambda _: self.draw()), "value")
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

    def _pictures(self) -> widgets.Box:
        pictures = widgets.VBox(self.pictures)
        pictures.add_class("lk-pictures")
        return pictures

    def _beside(self, controls: widgets.Box) -> widgets.Box:
        """Lay out controls beside the pictures; the keyboard reaches the controls first."""
        controls.add_class("lk-controls")
        columns = widgets.Box([controls, self._pictures()])
        columns.add_class("lk-columns")
        return columns

    def _columns(self) -> widgets.Box:
        """Lay out the switches beside the pictures."""
        return self._beside(widgets.VBox([*self.fault_list.box.children, self.cards]))

    def _wall(self) -> widgets.Box:
        """Lay out the story beside the pictures, for a wall."""
        self.full_screen = widgets.ToggleButton(description="Full screen", value=False,
                                                layout=widgets.Layout(width="auto"))
        self.full_screen.observe(self.guarded(lambda change: self.fill_screen(change["new"])),
                                 "value")
        bar = widgets.HBox([self.full_screen])
        bar.add_class("lk-bar")
        return self._beside(widgets.VBox([self.story_bar.box, bar, self.cards]))

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
        self.story_bar.leave()
        (self.rig.switch_on if on else self.rig.switch_off)(fault_id)
        self.switches[fault_id].value = on
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def go_on(self) -> None:
        """Let the time go on by one step."""
        self.story_bar.leave()
        self.rig.wait(self.step.value)
        self.draw()

    def tick(self) -> None:
        """Let the time go on by one tick of the running clock."""
        self.story_bar.leave()
        self.rig.wait(TICK_MS / 1000 * self.speed.value)
        self.draw()

    def play_or_pause(self) -> None:
        """Start the clock, or stop it."""
        self.ticker.playing = not self.ticker.playing

    def _name_play(self, playing: bool) -> None:
        """Let the button say what it does next."""
        self.play_button.description = "Pause" if playing else "Play"

    def change_roles(self) -> None:
        """Ask for a planned switchover."""
        self.story_bar.leave()
        self.rig.request_role_change()
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def all_off(self) -> None:
        """Switch all faults off at once."""
        self.story_bar.leave()
        for fault_id in tuple(self.rig.faults):
            self.rig.switch_off(fault_id)
        self._show_switches()
        if not self.ticker.playing:
            self.rig.wait(self.step.value)
        self.draw()

    def start_again(self) -> None:
        """Begin anew at time 0 with everything healthy; an open story is closed."""
        self.story_bar.close()
        self.show_rig(self._new_rig())

    def show_rig(self, rig: Rig) -> None:
        """Show another rig of the same plant; a running clock stops."""
        self.ticker.playing = False
        self.rig = rig
        self._show_switches()
        self.draw()

    def fill_screen(self, whole: bool) -> None:
        """Let the panel cover the whole window, or go back to its place in the page."""
        (self.add_class if whole else self.remove_class)("lk-whole")
        self.full_screen.description = "Leave full screen" if whole else "Full screen"

    # ------------------------------------------------------------ what one can see

    def _show_switches(self) -> None:
        """Bring the switches in line with the rig."""
        self.fault_list.bring_in_line(self.rig.faults)

    def draw(self) -> None:
        """Show the present state; what has not changed is not sent."""
        scheme, trend = self.pictures
        # What is looked at first is sent first, before the rest is worked out.
        weak = _next_parts(self.rig.plant_state()) if self.mark_next.value else ()
        scheme.value = plant_svg(self.rig.plant, self.rig.snapshot(), layout=self._layout,
                                 faults=self.faults, weak=weak, still=self.still.value)
        view = self.rig.view()
        time_ms = view.snapshot.time_ms
        gap = boards.gap_words(view.record, time_ms)
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
        """
        gap = boards.gap_words(self.rig.record, round(1000 * self.rig.now_s))
        running = f"runs, {self.speed.label}" if self.ticker.playing else "stands"
        return "\n".join(filter(None, [
            super().text(),
            self.story_bar.text(),
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


def plant_panel(plant: Plant | str | None = None, settings: PairSettings | None = None, *,
                task: str = TASK, step_s: float = 10.0, seed: int = 1, projector: bool = False,
                story: Story | str | None = None) -> PlantPanel:
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
    projector : bool
        Whether it is laid out for a wall: large type, the cell without its code, and beside the
        picture the story, which the arrow keys step through. Without `story` the first story of
        the plant is opened.
    story : Story or str, optional
        A story to begin with, or its name: one that comes with the plant, or one saved in the
        folder ``stories`` beside the notebook.

    Returns
    -------
    PlantPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        When `step_s` is none of these, the plant file has an error, or there is no such story.

    Examples
    --------
    >>> panel = plant_panel(task="Cut the power of the active controller.")
    >>> panel.text().splitlines()[0]
    'Task: Cut the power of the active controller.'
    >>> plant_panel(story="Power cut and return").story_bar.replay.position
    0
    """
    known = load_plant(plant) if isinstance(plant, str) else plant or load_plant()
    if isinstance(story, str) or projector and story is None:
        story = _story_of(known, story)
    return PlantPanel(lambda: Rig(known, settings, seed=seed), task=task, step_s=step_s,
                      projector=projector, story=story)


def _story_of(plant: Plant, name: str | None) -> Story | None:
    """Return a story of a plant by its name, or its first one if it has any."""
    stories = {each.name: each for each in find_stories(plant)[0]}
    if name is None:
        return next(iter(stories.values()), None)
    if name not in stories:
        raise ValueError(f"story must be one of {', '.join(stories) or 'none'}, got {name!r}")
    return stories[name]
