"""The main panel: the rig at one glance, drawn once, on which every fault can be switched.

What somebody does at the picture comes here as a message; what it changes goes back as values of
slots. After each switch the time goes on by the chosen step, so that the result is there at once.
"""

import json
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

import anywidget
import traitlets

from labkit.arguments import one_of
from labkit.plant.plant import Plant, PlantState, load_plant
from labkit.rig.acts import act_said, rows_of
from labkit.rig.rig import Rig, RigView
from labkit.rig.stories import Story, find_stories, rig_at
from labkit.switchover.record import save_record
from labkit.switchover.settings import PairSettings
from labkit.wording import capital
from lessons.panels.frame import STYLE as FRAME
from lessons.panels.frame import Shown
from lessons.panels.rig_page import (
    DRAWERS,
    SPEEDS,
    drawer_values,
    faults_here,
    page_html,
    page_values,
)
from lessons.panels.story_desk import StoryDesk
from lessons.pictures.boards import STYLE as BOARDS
from lessons.pictures.layout import WIDE, WIDTHS, room_of
from lessons.pictures.look import style_sheet
from lessons.pictures.plant_picture import plant_alt_text, plant_svg
from lessons.pictures.rig_picture import RigPicture
from lessons.pictures.slots import Values, changed, filled
from lessons.pictures.svg import STYLE as PICTURES

STYLE = style_sheet(__file__)
STEPS_S = {"1 s": 1.0, "10 s": 10.0, "60 s": 60.0, "5 min": 300.0}
TICK_MS = 250

TASK = "Switch a fault on. Who leads now, and what would stop the plant next?"
START = "Nothing yet. Click, tap or press Enter on a part to see what can fail there."


@lru_cache(maxsize=len(WIDTHS))
def _picture(plant: Plant, width: float) -> RigPicture:
    """Return a picture that is kept: the next panel of the plant opens sooner."""
    return RigPicture(plant, width)


class PlantPanel(Shown, anywidget.AnyWidget):
    """Show a plant whose faults can be switched on and off.

    Parameters
    ----------
    rig : callable
        Makes the rig anew, for the start and for "Start again".
    task : str
        What the reader is to do.
    ticks : sequence of str
        What the reader ticks while observing; it stands below the task. The numbers of those that
        are ticked are `ticked`.
    step_s : float
        How far the time goes on after a switch, in s: 1, 10, 60 or 300.
    faults : sequence of str, optional
        Ids of the faults that can be switched on; all of them where it is left out.
    cards : bool
        Whether what outages cost can be looked at.
    projector : bool
        Whether it is laid out for a wall: large type, no code, the story beside the picture.
    story : Story, optional
        A story to begin with.
    folder : str or Path
        Where stories and records are written.

    Raises
    ------
    ValueError
        When `step_s` is none of these, a fault is none of the plant, or the story is one of
        another plant.

    >>> panel = PlantPanel(Rig)
    >>> panel.switch("KF1: no power", True)
    >>> panel.rig.snapshot().roles["KF2"].value
    'active'
    """

    way_back = '; "Start again" sets the panel back'

    _esm = Path(__file__).with_suffix(".js")
    _css = FRAME + PICTURES + BOARDS + STYLE
    page = traitlets.Unicode().tag(sync=True)
    picture = traitlets.Unicode().tag(sync=True)
    look = traitlets.Unicode().tag(sync=True)
    faults_here = traitlets.List().tag(sync=True)
    widths = traitlets.List(list(WIDTHS)).tag(sync=True)

    def __init__(self, rig: Callable[[], Rig], *, task: str = TASK, ticks: Sequence[str] = (),
                 step_s: float = 10.0, faults: Sequence[str] | None = None, cards: bool = True,
                 projector: bool = False, story: Story | None = None, folder: str | Path = "."):
        self._new_rig, self.rig, self.task = rig, rig(), task
        known = self.rig.known_faults
        for name in faults or ():
            if name not in known:
                raise ValueError(f"faults must be of the plant, got {name!r}")
        self.faults = {name: known[name] for name in (known if faults is None else faults)}
        if step_s not in STEPS_S.values():
            steps = ", ".join(f"{s:g}" for s in STEPS_S.values())
            raise ValueError(f"step_s must be one of {steps}, got {step_s}")
        self.step_s, self.speed, self.playing = step_s, SPEEDS["10 times"], False
        self.mark_weak = self.write_flashing = False
        self.width = WIDE
        self.problem: Exception | None = None
        self.folder = Path(folder)
        self.stories = StoryDesk(self.rig.plant, self.folder)
        self.unfolded: set[str] = set()
        self.ticked: set[int] = set()
        self._said = ""
        self._answered = 0
        self._values: Values = {}
        self._before: RigView | None = None
        self._seen: tuple[tuple, RigView | None] = ((), None)
        self._story_starts: list[int] = []
        drawers = [key for key in DRAWERS if cards or key != "cards"]
        view = self.rig.view()
        self._tank = view.tank
        beside = (f"{capital(pair)}: {said}." for pair, said in
                  self.rig.plant.second_pairs.items())
        page = page_html(
            functions=tuple(view.state.works), steps=STEPS_S, task=" ".join([task, *beside]), ticks=ticks,
            step=next(words for words, s in STEPS_S.items() if s == step_s),
            cards=drawers, projector=projector)
        if story is not None:
            self._open(story)
            view = self.rig.view()
        self._values = self._now(view)
        self._began = dict(self._values)
        super().__init__(
            page=filled(page, self._values), look="lk-projector" if projector else "",
            picture=_picture(self.rig.plant, self.width).svg(view, self._values),
            faults_here=faults_here(self.faults))
        self.on_msg(lambda _widget, message, _buffers: self.receive(message))

    def close(self) -> None:
        """Take the panel from the page; what its page held is given back."""
        super().close()
        self.page = self.picture = ""
        self._values = self._began = {}
        self._seen = (), None

    # ------------------------------------------------------------ what comes from the page

    def receive(self, message: dict) -> None:
        """Do what was pressed in the page; an error is shown there in words."""
        do, value, at_ms = message["do"], message.get("value"), message.get("at")
        acts = {
            "switch": lambda: self.switch(*value), "go_on": self.go_on, "tick": self.tick,
            "play": self.play_or_pause, "change_roles": self.change_roles,
            "all_off": self.all_off,
        }
        others = {
            "start_again": self.start_again, "frames": self.send_frames,
            "step": lambda: self.set_step(value), "speed": lambda: self.set_speed(value),
            "mark_weak": lambda: self.set_mark(value), "own": lambda: self.tick_own(*value),
            "write_flashing": lambda: self.set_flashing(value),
            "fit": lambda: self.fit(value), "unfold": lambda: self.fold(value, False),
            "fold": lambda: self.fold(value, True), "save_csv": self.save_csv,
            "open_story": lambda: self.open_story(value), "go_to": lambda: self.go_to(value),
            "next_act": lambda: self.turn(1), "back": lambda: self.turn(-1),
            "close_story": self.close_story, "save_story": lambda: self.save_story(value),
        }

        def run() -> None:
            if do in acts:
                # Who pauses while looking at the past wants to look on: that is no other story.
                if at_ms is not None and not (do == "play" and self.playing):
                    self.branch(at_ms)
                acts[do]()
            else:
                others[do]()

        if message.get("number") == 1:
            # A page that was loaded shows what the panel began with.
            self._values = dict(self._began)
        if "number" in message:
            # It is sent even where it is that of the page before, which was loaded anew.
            self._answered, self._values["=answered"] = message["number"], ""
        self.guarded(run)()
        self._show({"=answered": str(self._answered)})

    def say_wrong(self, words: str) -> None:
        """Show what went wrong; empty words take it away."""
        self._show({"wrong": words, "wrong.box@": "lk-message" if words else "lk-none"})

    def restore(self) -> None:
        """Bring the page in line with the rig after something went wrong."""
        self.draw(again=("=on",))

    # ------------------------------------------------------------ what one can do

    def switch(self, fault_id: str, on: bool) -> None:
        """Switch a fault on or off; unless the clock runs, the time goes on by one step."""
        if on == (fault_id in self.rig.faults):
            # It may have stood so in the past that one has gone back to; that is what is shown now.
            self.draw()
            return
        self._act(lambda: (self.rig.switch_on if on else self.rig.switch_off)(fault_id))

    def change_roles(self) -> None:
        """Ask for a planned switchover."""
        self._act(self.rig.request_role_change)

    def all_off(self) -> None:
        """Switch all faults off at once."""
        def off() -> None:
            for fault_id in tuple(self.rig.faults):
                self.rig.switch_off(fault_id)

        self._act(off)

    def _act(self, do: Callable[[], object]) -> None:
        before = self._view()
        do()
        self._before = before
        self.stories.leave()
        if not self.playing:
            self.rig.wait(self.step_s)
        self.draw()

    def go_on(self) -> None:
        """Let the time go on by one step."""
        self.stories.leave()
        self.rig.wait(self.step_s)
        self.draw()

    def tick(self) -> None:
        """Let the time go on by one tick of the running clock."""
        if self.playing:
            self.stories.leave()
            self.rig.wait(TICK_MS / 1000 * self.speed)
            self.draw()

    def play_or_pause(self) -> None:
        """Start the clock, or stop it."""
        self.playing = not self.playing
        self.draw()

    def start_again(self) -> None:
        """Begin anew at time 0 with everything healthy; an open story is closed."""
        self.stories.close()
        self.show_rig(self._new_rig())

    def show_rig(self, rig: Rig, before: RigView | None = None) -> None:
        """Show another rig of the same plant, and what its last act did; a running clock stops."""
        self.rig, self.playing, self._before, self._said = rig, False, before, ""
        self._story_starts = []
        self.draw(again=("=on", "=moments"))

    def branch(self, at_ms: int) -> None:
        """Go back to a moment of the record: what is done now begins another story there."""
        # The page may still show a record that another story has cut short since.
        at_ms = min(at_ms, round(self.rig.now_s * 1000))
        self.rig = rig_at(self.rig, at_ms)
        self.playing, self._before = False, None
        self._story_starts = [ms for ms in self._story_starts if ms < at_ms] + [at_ms]
        self._said = f"Another story begins here, at {max(at_ms, 0) / 1000:.3f} s."
        # The page comes back to the present by these, also where they are the same as before.
        self._values.pop("=moments", None)

    def set_step(self, words: str) -> None:
        """Choose how far the time goes on after a switch, by its words."""
        self.step_s = STEPS_S[words]

    def set_speed(self, words: str) -> None:
        """Choose how fast the clock runs, by its words."""
        self.speed = SPEEDS[words]

    def set_mark(self, on: bool) -> None:
        """Mark the parts that would stop the first function next, or do not."""
        self.mark_weak = on
        self.draw()

    def set_flashing(self, on: bool) -> None:
        """Write "flashing" beside lamps that would flash, or let them flash."""
        self.write_flashing = on
        self.draw()

    def fit(self, width: float) -> None:
        """Draw the picture for another width of the page."""
        if width not in WIDTHS:
            raise ValueError(f"width must be one of {WIDTHS}, got {width!r}")
        self.width = width
        view = self._view()
        before, self._values = self._values, self._now(view)
        # A list beside the picture that was drawn anew would lose the focus, and the next key.
        slots = {key: value for key, value in self._values.items()
                 if not key.endswith("@html") or before.get(key) != value}
        self.send({"picture": _picture(self.rig.plant, width).svg(view, self._values),
                   "slots": slots})

    def fold(self, drawer: str, shut: bool) -> None:
        """Fold a drawer away, or open it."""
        (self.unfolded.discard if shut else self.unfolded.add)(one_of("drawer", drawer, DRAWERS))
        self.draw()

    def tick_own(self, number: int, on: bool) -> None:
        """Note that something was seen, or was not after all."""
        (self.ticked.add if on else self.ticked.discard)(number)

    # ------------------------------------------------------------ stories and record

    def open_story(self, story: Story | str) -> None:
        """Open a story at its beginning, by itself or by its name."""
        self._open(self.stories.named(story) if isinstance(story, str) else story)
        self.draw(again=("=on", "=moments"))

    def _open(self, story: Story) -> None:
        self.rig = self.stories.open(story)
        self.playing, self._before, self._said = False, None, ""
        self._story_starts = []

    def go_to(self, position: int) -> None:
        """Show the open story after so many acts."""
        moved = self.stories.go_to(position)
        if moved is not None:
            self.show_rig(*moved)

    def turn(self, by: int) -> None:
        """Go on in the story by one act, or back; at its ends nothing happens."""
        if self.stories.replay is not None:
            self.go_to(self.stories.replay.position + by)

    def close_story(self) -> None:
        """Close the story; the rig stays as it stands."""
        self.stories.close()
        self.draw()

    def save_story(self, name: str) -> None:
        """Save what was done so far as a story of this name."""
        self._said = f"Story saved: {self.stories.save(self.rig, name)}"
        self.draw()

    def save_csv(self) -> None:
        """Write the whole record into a new CSV file beside the notebook."""
        self._said = f"Record saved: {save_record(self.rig.record, self.folder)}"
        self.draw()

    # ------------------------------------------------------------ what one can see

    def _now(self, view: RigView) -> Values:
        """Return the values of everything that is shown."""
        weak = _next_parts(view.state) if self.mark_weak else ()
        values = _picture(self.rig.plant, self.width).values(
            view, weak=weak, still=self.write_flashing)
        values |= page_values(view)
        act = act_said(self._before, view) if self._before else START
        values |= {
            "wrong": "", "wrong.box@": "lk-none", "act": act, "said": self._said,
            "play": "Pause" if self.playing else "Play", "=answered": str(self._answered),
            "=on": json.dumps(list(self.rig.faults)),
            "=playing": json.dumps(self.playing),
            "=look": json.dumps(["still"] if self.write_flashing else []),
            "=moments": json.dumps(self._moments(view)),
            **self.stories.values(),
            **drawer_values(self.unfolded, view, self.stories.shelf_html, self._story_starts),
        }
        return values

    def _moments(self, view: RigView) -> dict[str, object]:
        """Return the moments of the record since the last act, in ms after it."""
        if self._before is None:
            return {"act": 0, "at": []}
        act_ms = self._before.snapshot.time_ms
        new = view.record[len(self._before.record):]
        return {"act": act_ms, "at": sorted({entry.time_ms - act_ms for entry in new})}

    def _view(self) -> RigView:
        """Return what is seen now: once only for what is drawn and for the act that follows."""
        moment = self.rig, self.rig.now_s, self.rig.faults, len(self.rig.record)
        if self._seen[0] != moment:
            self._seen = moment, self.rig.view()
        return self._seen[1]

    def draw(self, again: Sequence[str] = ()) -> None:
        """Send what has changed, and what is to be set again."""
        self._show(self._now(self._view()), again)

    def _show(self, values: Values, again: Sequence[str] = ()) -> None:
        sent = changed(self._values, values) | {key: values[key] for key in again}
        self._values |= values
        if sent:
            self.send({"slots": sent})

    def frames(self) -> dict[str, object]:
        """Return what is seen at each moment since the last act: the states, and words for them.

        The first moment is that before the act. A state is the change from the one before it; the
        first holds all that changes at all.
        """
        now = self._view()
        moments = self._moments(now)
        if not moments["at"]:
            return {"at": [], "slots": [], "words": []}
        picture = _picture(self.rig.plant, self.width)
        act_ms = moments["act"]
        said = {ms: [] for ms in moments["at"]}
        for row in rows_of(now.record[len(self._before.record):]):
            said[row.time_ms - act_ms].append(row.text)
        views = [self._before, *(rig_at(self.rig, act_ms + ms).view() for ms in moments["at"])]
        states = [{**picture.values(view, still=self.write_flashing), **page_values(view)}
                  for view in views]
        words = ["before the act", *("; ".join(each) for each in said.values())]
        last = self._now(now)
        moving = {key for state in states for key, value in state.items()
                  if last.get(key) != value}
        first = {key: states[0][key] for key in moving if key in states[0]}
        later = [changed(one, other) for one, other in zip(states, states[1:])]
        return {"at": [-20, *moments["at"]], "slots": [first, *later], "words": words}

    def send_frames(self) -> None:
        """Send the moments of the last act, when somebody asks for them."""
        self.send({"frames": self.frames()})

    def text(self, entries: int = 200) -> str:
        """Return all that the panel shows, as text, with so many lines of the record."""
        values = self._values
        running = "runs" if self.playing else "stands"
        step = next(words for words, s in STEPS_S.items() if s == self.step_s)
        return "\n".join(filter(None, [
            super().text(),
            self.stories.text(),
            self.rig.text(entries=entries),
            *(f"Room of {rack}: {values[f'{room_of(rack)}@data-state']}."
              for rack in self.rig.plant.racks if f"{room_of(rack)}@" in values),
            f"Outputs: {values['head.gap']}.",
            f"Last act: {values['act']}",
            f"Clock {running}; after a switch the time goes on by {step}. "
            f"{len(self.faults)} faults can be switched on; their names stand in .faults.",
        ]))

    def twin_text(self) -> str:
        """Return the state as text, the record cut short, for a page without controls."""
        return self.text(entries=6)

    def still_picture(self) -> tuple[str, str]:
        """Return a picture of the state that stands alone, and its alternative text."""
        snapshot = self.rig.snapshot()
        return (plant_svg(self.rig.plant, snapshot, standalone=True),
                plant_alt_text(self.rig.plant, snapshot))


def _next_parts(state: PlantState) -> list[str]:
    """Return the parts whose failure would stop the first function of the plant."""
    first = next(iter(state.next_failure_details.values()), ())
    return [failure.name for failure in first if failure.parts == (failure.name,)]


def plant_panel(plant: Plant | str | None = None, settings: PairSettings | None = None, *,
                task: str = TASK, ticks: Sequence[str] = (), faults: Sequence[str] | None = None,
                cards: bool = True, step_s: float = 10.0, seed: int = 1, projector: bool = False,
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
    ticks : sequence of str
        What the reader ticks while observing; it stands below the task.
    faults : sequence of str, optional
        Ids of the faults that can be switched on; all of the plant where it is left out.
    cards : bool
        Whether cards tell what is lost and what it costs.
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
        When `step_s` is none of these, the plant file has an error, or there is no such fault or
        story.

    Examples
    --------
    >>> panel = plant_panel(task="Cut the power of the active controller.")
    >>> panel.text().splitlines()[0]
    'Task: Cut the power of the active controller.'
    >>> plant_panel(story="Power cut and return").stories.replay.position
    0
    """
    known = load_plant(plant) if isinstance(plant, str) else plant or load_plant()
    if isinstance(story, str):
        story = StoryDesk(known).named(story)
    elif projector and story is None:
        story = next(iter(find_stories(known)[0]), None)
    return PlantPanel(lambda: Rig(known, settings, seed=seed), task=task, ticks=ticks,
                      faults=faults, cards=cards, step_s=step_s, projector=projector, story=story)
