"""Stories: what was done at the rig, named, saved and replayed.

A story is a JSON file: its name, the plant's name and version, the seed, the settings, and the
actions with their times.  The same story on the same plant gives the same record.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from labkit.arguments import count, instance, one_of
from labkit.plant.plant import Plant, load_plant
from labkit.reading import json_of, read_bytes, read_utf8
from labkit.rig.rig import VERBS, Action, Rig
from labkit.switchover.settings import PairSettings
from labkit.writing import problem_text, stem_of, write_whole

FORMAT = 1
LONGEST_MS = 24 * 3_600_000
MOST_ACTIONS = 10_000
FOLDER = "stories"
"""Where a reader's own stories are kept, beside the notebook."""

_SHIPPED = Path(__file__).parent / "story_files"


@dataclass(frozen=True)
class Story:
    """Hold what was done at a rig.

    Parameters
    ----------
    name : str
        Not empty.
    plant : str
        Name and version of the plant.
    actions : tuple of Action
        In order of time.
    end_ms : int
        How long the story lasts, in simulated ms, not before its last action.
    about : str
        What is to be seen in it; may be empty.

    Raises
    ------
    ValueError
        When the name is empty, a verb is unknown, or the times are out of order.

    >>> rig = Rig()
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(2)
    >>> story = Story.of(rig, "power cut")
    >>> Replay(story).go_to(1).record == rig.record
    True
    """

    name: str
    plant: str
    actions: tuple[Action, ...]
    end_ms: int
    settings: PairSettings = PairSettings()
    seed: int = 1
    about: str = ""

    def __post_init__(self):
        for key in ("name", "plant", "about"):
            instance(key, getattr(self, key), str)
        count("seed", self.seed)
        if not self.name.strip():
            raise ValueError(f"name must not be empty, got {self.name!r}")
        if len(self.actions) > MOST_ACTIONS:
            raise ValueError(f"actions must be at most {MOST_ACTIONS}, got {len(self.actions)}")
        before_ms = 0
        for action in self.actions:
            one_of("verb", action.verb, VERBS)
            instance("fault_id", action.fault_id, str)
            if count("time_ms", action.time_ms) < before_ms:
                raise ValueError(
                    f"time_ms must not go back, got {action.time_ms} after {before_ms}"
                )
            before_ms = action.time_ms
        count("end_ms", self.end_ms, least=before_ms, most=LONGEST_MS)

    @classmethod
    def of(cls, rig: Rig, name: str, about: str = "") -> Story:
        """Take the story of what was done at a rig so far.

        Parameters
        ----------
        name : str
            Not empty.
        about : str
            What is to be seen in it.

        Raises
        ------
        ValueError
            When the name is empty.
        """
        return cls(name, _title(rig.plant), rig.actions, round(rig.now_s * 1000),
                   rig.settings, rig.seed, about)

    def to_json(self) -> str:
        """Return the story as the text of a file."""
        return json.dumps({"format": FORMAT, "kind": "story", **asdict(self)}, indent=1) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Story:
        """Read a story from the text of a file.

        Raises
        ------
        ValueError
            When the text is no story; the message names the key and what was found.
        """
        data = json_of(text, "a story, as a panel saves it,")
        if not isinstance(data, dict) or data.pop("kind", None) != "story":
            raise ValueError("it must be a story, as a panel saves it")
        if (found := data.pop("format", None)) != FORMAT:
            raise ValueError(f"format must be {FORMAT}, got {found!r}")
        wanted = {field.name for field in fields(cls)}
        if set(data) != wanted:
            raise ValueError(f"keys must be {sorted(wanted)}, got {sorted(data)}")
        try:
            data["actions"] = tuple(Action(**action) for action in data["actions"])
            data["settings"] = PairSettings(**data["settings"])
            return cls(**data)
        except TypeError as error:
            raise ValueError(f"actions and settings must have their keys: {error}") from None

    def save(self, path: str | Path) -> Path:
        """Write the story into a file, whole or not at all.

        Raises
        ------
        OSError
            When the folder cannot be written.
        """
        return write_whole(path, self.to_json())

    def keep(self, folder: str | Path = FOLDER) -> Path:
        """Save the story under its name in a folder, which is made where it is not there.

        Parameters
        ----------
        folder : str or Path
            In a notebook the default lies beside the notebook.

        Returns
        -------
        Path
            The file, as a whole path.

        Raises
        ------
        ValueError
            When another story is kept there under this name.
        OSError
            When the folder cannot be written.
        """
        folder = Path(folder).resolve()
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{stem_of(self.name.lower(), 'story')}.json"
        if path.exists() and read_bytes(path) != self.to_json().encode():
            raise ValueError(f"name must not be taken by another story, got {self.name!r}; "
                             f"it stands in {path}")
        return self.save(path)


class Replay:
    """Go through a story act by act, forwards and back.

    Parameters
    ----------
    plant : Plant, optional
        The plant of the lessons if not given; its name and version must be the story's.

    Attributes
    ----------
    rig : Rig
        As it stands at this place of the story.
    position : int
        How many acts have been done, 0 to `len(story.actions)`.

    Raises
    ------
    ValueError
        When the plant is another one, or does not have a fault of the story.

    >>> replay = Replay(find_stories()[0][0])
    >>> replay.acts()[1]
    '1. at 5 s: on: KF1 controller 1: no power'
    >>> replay.go_to(1).snapshot().roles["KF2"].value
    'active'
    """

    def __init__(self, story: Story, plant: Plant | None = None):
        self.story = story
        self.plant = plant or load_plant()
        if _title(self.plant) != story.plant:
            raise ValueError(f"plant must be {story.plant!r}, got {_title(self.plant)!r}")
        self._begin()
        for action in story.actions:
            if action.fault_id and action.fault_id not in self.rig.known_faults:
                raise ValueError(f"fault_id must be one of the plant's, got {action.fault_id!r}")
        self.go_to(0)

    def _begin(self) -> None:
        self.rig = Rig(self.plant, self.story.settings, seed=self.story.seed)
        self.position = 0

    def acts(self) -> tuple[str, ...]:
        """Return the beginning and each act in words."""
        verbs = {"on": "on: ", "off": "off: ", "role change": "switchover by hand"}
        labels = {name: fault.label for name, fault in self.rig.known_faults.items()}
        return ("0. the beginning", *(
            f"{number}. at {action.time_ms / 1000:g} s: {verbs[action.verb]}"
            f"{labels.get(action.fault_id, '')}"
            for number, action in enumerate(self.story.actions, 1)))

    def go_to(self, position: int) -> Rig:
        """Go to the moment before the next act, or to the end after the last one.

        Parameters
        ----------
        position : int
            How many acts are done then, 0 to `len(story.actions)`.

        Returns
        -------
        Rig
            The attribute `rig`; a new one where the way leads back.

        Raises
        ------
        ValueError
            When there is no such place.
        """
        actions = self.story.actions
        if not 0 <= position <= len(actions):
            raise ValueError(f"position must be 0 to {len(actions)}, got {position!r}")
        if position < self.position:
            self._begin()
        _play(self.rig, actions[self.position:position])
        self.position = position
        _wait_until(self.rig, actions[position].time_ms if position < len(actions)
                    else self.story.end_ms)
        return self.rig


def find_stories(plant: Plant | None = None,
                 folder: str | Path = FOLDER) -> tuple[tuple[Story, ...], tuple[str, ...]]:
    """Find the stories of a plant: those that come with it, then the reader's own.

    Parameters
    ----------
    plant : Plant, optional
        The plant of the lessons if not given.
    folder : str or Path
        Where the reader's own are kept. It need not exist.

    Returns
    -------
    tuple of Story, tuple of str
        The stories; and for each file that is none what is wrong with it.

    >>> [story.name for story in find_stories()[0]][:2]
    ['Power cut and return', 'Short hold time and the tank']
    """
    title = _title(plant or load_plant())
    found, wrong = [], []
    for path in [*sorted(_SHIPPED.glob("*.json")), *sorted(Path(folder).glob("*.json"))]:
        try:
            story = Story.from_json(read_utf8(path))
        except (ValueError, OSError) as problem:
            wrong.append(f"{path}: {problem_text(problem)}")
            continue
        if story.plant == title:
            found.append(story)
    return tuple(found), tuple(wrong)


def rig_at(rig: Rig, time_ms: int) -> Rig:
    """Return a rig on which the same was done up to a moment, acts of that moment with it.

    Parameters
    ----------
    rig : Rig
        It stays as it is.
    time_ms : int
        Up to its present time; below 0 it is the start, before anything was done.

    Raises
    ------
    ValueError
        When the moment is still to come.

    >>> rig = Rig()
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(10)
    >>> rig_at(rig, 100).snapshot().roles["KF2"].value
    'standby'
    """
    now_ms = round(rig.now_s * 1000)
    if time_ms > now_ms:
        raise ValueError(f"time_ms must be <= {now_ms}, got {time_ms!r}")
    again = Rig(rig.plant, rig.settings, seed=rig.seed)
    _play(again, [each for each in rig.actions if each.time_ms <= time_ms])
    _wait_until(again, time_ms)
    return again


def _title(plant: Plant) -> str:
    return f"{plant.name}, {plant.version}"


def _play(rig: Rig, actions: Iterable[Action]) -> None:
    for action in actions:
        _wait_until(rig, action.time_ms)
        rig.do(action.verb, action.fault_id)


def _wait_until(rig: Rig, time_ms: int) -> None:
    gap_ms = time_ms - round(rig.now_s * 1000)
    if gap_ms > 0:
        rig.wait(gap_ms / 1000.0)
