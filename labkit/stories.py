"""Stories: what was done at the rig, named, saved and replayed.

A story is a JSON file: its name, the plant's name and version, the seed, the settings, and the
actions with their times.  The same story on the same plant gives the same record.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from labkit.plant import Plant, load_plant
from labkit.rig import Action, Rig
from labkit.settings import PairSettings

__all__ = ["Story", "load_story"]

FORMAT = 1
VERBS = ("on", "off", "role change")


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
    settings : PairSettings
    seed : int

    Raises
    ------
    ValueError
        When the name is empty, a verb is unknown, or the times are out of order.

    Examples
    --------
    >>> rig = Rig()
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(2)
    >>> story = Story.of(rig, "power cut")
    >>> story.replay().record == rig.record
    True
    """

    name: str
    plant: str
    actions: tuple[Action, ...]
    end_ms: int
    settings: PairSettings = PairSettings()
    seed: int = 1

    def __post_init__(self):
        if not isinstance(self.name, str) or not self.name.strip():
            raise ValueError(f"name must not be empty, got {self.name!r}")
        before_ms = 0
        for action in self.actions:
            if action.verb not in VERBS:
                raise ValueError(f"verb must be one of {', '.join(VERBS)}, got {action.verb!r}")
            if action.time_ms < before_ms:
                raise ValueError(
                    f"time_ms must not go back, got {action.time_ms} after {before_ms}"
                )
            before_ms = action.time_ms
        if self.end_ms < before_ms:
            raise ValueError(f"end_ms must be >= {before_ms}, got {self.end_ms}")

    @classmethod
    def of(cls, rig: Rig, name: str) -> Story:
        """Take the story of what was done at a rig so far.

        Parameters
        ----------
        rig : Rig
        name : str
            Not empty.

        Returns
        -------
        Story

        Raises
        ------
        ValueError
            When the name is empty.
        """
        return cls(name, _title(rig.plant), rig.actions, round(rig.now_s * 1000),
                   rig.settings, rig.seed)

    def steps(self, plant: Plant | None = None) -> Iterator[tuple[Rig, Action | None]]:
        """Replay step by step: the rig right after each action, then at the end.

        Parameters
        ----------
        plant : Plant, optional
            The plant of the lessons if not given; its name and version must be the story's.

        Yields
        ------
        (Rig, Action or None)
            The same rig each time; None at the end of the story.

        Raises
        ------
        ValueError
            When the plant is another one, or does not have a fault of the story.
        """
        rig = Rig(plant or load_plant(), self.settings, seed=self.seed)
        if _title(rig.plant) != self.plant:
            raise ValueError(f"plant must be {self.plant!r}, got {_title(rig.plant)!r}")
        for action in self.actions:
            _wait_until(rig, action.time_ms)
            if action.verb == "on":
                rig.switch_on(action.fault_id)
            elif action.verb == "off":
                rig.switch_off(action.fault_id)
            else:
                rig.request_role_change()
            yield rig, action
        _wait_until(rig, self.end_ms)
        yield rig, None

    def replay(self, plant: Plant | None = None) -> Rig:
        """Replay at once, to the end.

        Parameters
        ----------
        plant : Plant, optional
            As in `steps`.

        Returns
        -------
        Rig

        Raises
        ------
        ValueError
            As in `steps`.
        """
        for rig, _ in self.steps(plant):
            pass
        return rig

    def to_json(self) -> str:
        """Return the story as the text of a file."""
        return json.dumps({"format": FORMAT, "kind": "story", **asdict(self)}, indent=1) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Story:
        """Read a story from the text of a file.

        Parameters
        ----------
        text : str

        Returns
        -------
        Story

        Raises
        ------
        ValueError
            When the text is no story; the message names the key and what was found.
        """
        try:
            data = json.loads(text)
        except json.JSONDecodeError as error:
            raise ValueError(f"a story must be JSON, got: {error}") from None
        if not isinstance(data, dict) or data.pop("kind", None) != "story":
            raise ValueError("kind must be 'story'")
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

        Parameters
        ----------
        path : str or Path

        Returns
        -------
        Path

        Raises
        ------
        OSError
            When the folder cannot be written.
        """
        path = Path(path)
        part = path.with_name(path.name + ".part")
        part.write_text(self.to_json(), encoding="utf-8")
        part.replace(path)
        return path


def load_story(path: str | Path) -> Story:
    """Read a story from a file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Story

    Raises
    ------
    ValueError
        When the file is no story.
    OSError
        When it cannot be read.
    """
    return Story.from_json(Path(path).read_text(encoding="utf-8"))


def _title(plant: Plant) -> str:
    return f"{plant.name}, {plant.version}"


def _wait_until(rig: Rig, time_ms: int) -> None:
    gap_ms = time_ms - round(rig.now_s * 1000)
    if gap_ms > 0:
        rig.wait(gap_ms / 1000.0)
