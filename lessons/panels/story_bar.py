"""Controls that keep what was done at a rig: stories opened, stepped through, saved; the record.

The list of acts is a list of the browser's own: arrow keys, Home and End go through the story, so
a lecture needs one control and no mouse.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from html import escape
from pathlib import Path

import ipywidgets as widgets

from labkit.rig.rig import Rig
from labkit.rig.stories import FOLDER, Replay, Story, find_stories
from labkit.switchover.record import save_record
from labkit.switchover.settings import PairSettings

__all__ = ["StoryBar"]

NONE = "choose one"
MOST_ROWS = 8


class StoryBar:
    """Hold the controls that keep, open and step through what was done at a rig.

    Parameters
    ----------
    rig : callable
        Returns the rig that is shown.
    show : callable
        Shows another rig.
    guarded : callable
        Makes a callback of a handler, as `Panel.guarded` does.
    folder : str or Path
        Where the reader's files are written; stories go into its folder ``stories``.

    Attributes
    ----------
    box, bar : Widget
        The open story; the controls that keep.
    replay : Replay or None
        The story that is open.

    >>> bar = StoryBar(Rig, lambda rig: None, lambda handler: handler)
    >>> bar.stories[0].name
    'Power cut and return'
    """

    def __init__(self, rig: Callable[[], Rig], show: Callable[[Rig], None],
                 guarded: Callable[[Callable], Callable], folder: str | Path = "."):
        self._rig, self._show = rig, show
        self.folder = Path(folder)
        self.replay: Replay | None = None
        self.stories: tuple[Story, ...] = ()
        self._astray = False
        labelled = {"description_width": "auto"}
        wide = widgets.Layout(width="auto")

        def button(words: str, handler: Callable[[], object]) -> widgets.Button:
            made = widgets.Button(description=words, layout=widgets.Layout(width="auto"))
            made.on_click(guarded(lambda _: handler()))
            return made

        self.choice = widgets.Dropdown(description="Story", layout=wide, style=labelled)
        self.open_button = button("Open story", self.open_chosen)
        self.name = widgets.Text(description="Name", placeholder="what was done so far",
                                 layout=widgets.Layout(width="260px"), style=labelled)
        self.save_button = button("Save as story", self.save)
        self.csv_button = button("Save record as CSV", self.save_csv)
        self.said = widgets.HTML()
        self.said.add_class("lk-said")
        self.bar = widgets.HBox([self.choice, self.open_button, self.name, self.save_button,
                                 self.csv_button, self.said])
        self.bar.add_class("lk-bar")
        self.bar.add_class("lk-keep")

        self.about = widgets.HTML()
        self.about.add_class("lk-about")
        self.acts = widgets.Select(description="Acts", options=["0. the beginning"], layout=wide,
                                   style=labelled)
        self.acts.add_class("lk-acts")
        self.acts.observe(guarded(lambda change: self.go_to(change["new"])), "index")
        self.back_button = button("Back", self.back)
        self.next_button = button("Next act", self.next_act)
        self.close_button = button("Close story", self.close)
        steps = widgets.HBox([self.back_button, self.next_button, self.close_button])
        steps.add_class("lk-bar")
        self.box = widgets.VBox([self.about, self.acts, steps])
        self.box.add_class("lk-story")
        self.box.add_class("lk-hidden")
        self.list_stories()

    # ------------------------------------------------------------ what one can do

    def list_stories(self) -> None:
        """Look again which stories there are."""
        chosen = self.choice.value
        self.stories, wrong = find_stories(self._rig().plant, self.folder / FOLDER)
        self.choice.options = [(NONE, NONE), *((story.name, story.name) for story in self.stories)]
        self.choice.value = chosen if chosen in {story.name for story in self.stories} else NONE
        if wrong:
            self._say("These files are no stories: " + "; ".join(wrong))

    def open_chosen(self) -> None:
        """Open the story that is chosen in the list."""
        if self.choice.value == NONE:
            raise ValueError("first choose a story in the list")
        self.open(next(each for each in self.stories if each.name == self.choice.value))

    def open(self, story: Story) -> None:
        """Open a story at its beginning.

        Raises
        ------
        ValueError
            When it is a story of another plant.
        """
        replay = Replay(story, self._rig().plant)
        self.replay = None
        acts = replay.acts()
        self.acts.options, self.acts.rows = acts, min(MOST_ROWS, len(acts))
        self.acts.index = 0
        self.replay, self._astray = replay, False
        self.box.remove_class("lk-hidden")
        self._describe()
        self._show(replay.rig)
        self.acts.focus()

    def go_to(self, position: int | None) -> None:
        """Show the open story after so many acts.

        Parameters
        ----------
        position : int or None
            0 is the beginning; None changes nothing.

        Raises
        ------
        ValueError
            When the story has no such place.
        """
        if self.replay is None or position is None:
            return
        if self._astray:
            self.replay, self._astray = Replay(self.replay.story, self.replay.plant), False
        elif position == self.replay.position:
            return
        self._show(self.replay.go_to(position))
        self._describe()

    def next_act(self) -> None:
        """Go on by one act; at the end nothing happens."""
        self._turn(1)

    def back(self) -> None:
        """Go back by one act; at the beginning nothing happens."""
        self._turn(-1)

    def _turn(self, by: int) -> None:
        if self.replay is None:
            return
        position = min(max(self.replay.position + by, 0), len(self.replay.story.actions))
        # The list shows the place; setting it goes there.
        if self.acts.index == position:
            self.go_to(position)
        else:
            self.acts.index = position

    def leave(self) -> None:
        """Note that somebody acted by hand; the next act begins from the story again."""
        if self.replay is not None and not self._astray:
            self._astray = True
            self._describe()

    def close(self) -> None:
        """Close the story; the rig stays as it stands."""
        self.replay = None
        self.box.add_class("lk-hidden")

    def save(self) -> None:
        """Save what was done so far as a story, under the name that was typed."""
        story = Story.of(self._rig(), self.name.value.strip())
        path = story.keep(self.folder / FOLDER)
        self.list_stories()
        self._say(f"Story saved: {path}")

    def save_csv(self) -> None:
        """Write the whole record into a new CSV file beside the notebook."""
        self._say(f"Record saved: {save_record(self._rig().record, self.folder)}")

    # ------------------------------------------------------------ what one can see

    def text(self) -> str:
        """Return what is said of the open story; empty where none is open."""
        if self.replay is None:
            return ""
        acts = self.replay.acts()
        place = "left by hand after" if self._astray else "stands after"
        return (f"Story: {self.replay.story.name}, {place} act "
                f"{acts[self.replay.position]}, of {len(acts) - 1}. {self.replay.story.about}"
                f"{self._settings()}").strip()

    def _settings(self) -> str:
        """Say which settings of the story are not the usual ones."""
        usual, there = PairSettings(), self.replay.story.settings
        unlike = [f"{each.name} = {getattr(there, each.name)}" for each in fields(usual)
                  if getattr(there, each.name) != getattr(usual, each.name)]
        return f" Settings: {', '.join(unlike)}." if unlike else ""

    def _describe(self) -> None:
        story = self.replay.story
        astray = (" <b>You went on by hand; choose an act to come back to the story.</b>"
                  if self._astray else "")
        self.about.value = (f"<b>{escape(story.name)}.</b> {escape(story.about)}"
                            f"{escape(self._settings())}{astray}")

    def _say(self, words: str) -> None:
        self.said.value = f'<span role="status">{escape(words)}</span>'
