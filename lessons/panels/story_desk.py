"""What was done at a rig, kept: stories that are opened, stepped through and saved."""

from dataclasses import fields
from html import escape
from pathlib import Path

from labkit.arguments import one_of
from labkit.plant.plant import Plant
from labkit.rig.rig import Rig, RigView
from labkit.rig.stories import FOLDER, Replay, Story, find_stories
from labkit.switchover.settings import PairSettings
from lessons.pictures.look import markup
from lessons.pictures.slots import Values

MOST_ROWS = 8
UNNAMED = "what was done so far"


def acts_html(said: str, rows: int | str, listed: str) -> str:
    """Return an open story: what is said of it, its acts as options, and what leads through it."""
    return markup(__file__, "acts", said=said, rows=rows, listed=listed)


class StoryDesk:
    """Hold the stories of a plant, and the one that is open.

    >>> from labkit import load_plant
    >>> desk = StoryDesk(load_plant())
    >>> desk.open(desk.named("Power cut and return")).now_s
    5.0
    """

    def __init__(self, plant: Plant, folder: str | Path = "."):
        self.plant, self.folder = plant, Path(folder)
        self.replay: Replay | None = None
        self.astray = False

    def known(self) -> tuple[tuple[Story, ...], tuple[str, ...]]:
        """Return the stories there are, and what is wrong with files that are none."""
        return find_stories(self.plant, self.folder / FOLDER)

    def named(self, name: str) -> Story:
        """Return a story by its name.

        Raises
        ------
        ValueError
            When there is none of this name.
        """
        stories = {each.name: each for each in self.known()[0]}
        return stories[one_of("story", name, stories)]

    def open(self, story: Story) -> Rig:
        """Open a story at its beginning; a story of another plant is refused."""
        self.replay, self.astray = Replay(story, self.plant), False
        return self.replay.rig

    def go_to(self, position: int) -> tuple[Rig, RigView | None] | None:
        """Return the rig after so many acts of the open story, and what was seen before the last.

        None where nothing moves.
        """
        if self.replay is None:
            return None
        position = min(max(position, 0), len(self.replay.story.actions))
        if self.astray:
            self.replay, self.astray = Replay(self.replay.story, self.plant), False
        elif position == self.replay.position:
            return None
        before = self.replay.go_to(position - 1).view() if position else None
        return self.replay.go_to(position), before

    def leave(self) -> None:
        """Note that somebody acted by hand; the next act begins from the story again."""
        self.astray = self.replay is not None

    def close(self) -> None:
        """Close the story."""
        self.replay = None

    def save(self, rig: Rig, name: str) -> Path:
        """Save what was done at a rig as a story; without a name it is called after that."""
        return Story.of(rig, name.strip() or UNNAMED).keep(self.folder / FOLDER)

    # ------------------------------------------------------------ what one can see

    def text(self) -> str:
        """Return what is said of the open story; empty where none is open."""
        if self.replay is None:
            return ""
        acts = self.replay.acts()
        place = "left by hand after" if self.astray else "stands after"
        return (f"Story: {self.replay.story.name}, {place} act "
                f"{acts[self.replay.position]}, of {len(acts) - 1}. {self.replay.story.about}"
                f"{self._settings()}").strip()

    def _settings(self) -> str:
        """Say which settings of the story are not the usual ones."""
        usual, there = PairSettings(), self.replay.story.settings
        unlike = [f"{each.name} = {getattr(there, each.name)}" for each in fields(usual)
                  if getattr(there, each.name) != getattr(usual, each.name)]
        return f" Settings: {', '.join(unlike)}." if unlike else ""

    def values(self) -> Values:
        """Return the values of the open story: its acts, and where it stands."""
        if self.replay is None:
            return {"story@html": "", "story.astray": "", "=position": "-1"}
        story, acts = self.replay.story, self.replay.acts()
        # One stands chosen from the start: the first arrow key goes on from it, answered or not.
        listed = "".join(f"<option>{escape(each)}</option>" for each in acts)
        listed = listed.replace("<option>", "<option selected>", 1)
        html = acts_html(f"<b>{escape(story.name)}.</b> {escape(story.about)}"
                         f'{escape(self._settings())} <b data-s="story.astray"></b>',
                         min(MOST_ROWS, len(acts)), listed)
        astray = "You went on by hand; choose an act to come back to the story."
        return {"story@html": html, "story.astray": astray if self.astray else "",
                "=position": str(self.replay.position)}

    def shelf_html(self) -> str:
        """Return the stories there are, and a place to save one, as HTML."""
        stories, wrong = self.known()
        return markup(__file__, "shelf", stories=stories, wrong=wrong, unnamed=UNNAMED)
