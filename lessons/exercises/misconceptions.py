"""The register: what learners say, a short correction, and a number against it, computed.

The entries stand in the file beside this module; they are common teaching experience unless a
source is named. None of them has been validated with learners yet.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import labkit
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item import fill

PRACTICE = "teaching experience"
YEAR_MIN = HOURS_PER_YEAR * 60


@dataclass(frozen=True)
class Misconception:
    """One entry of the register.

    Parameters
    ----------
    id : str
        M01 and on, or S01 and on for slips.
    says : str
        What learners say.
    correction : str
        What holds instead.
    sentence : str
        Template of the number against it; empty while its model is not there.
    compute : callable or None
        Returns the numbers of the template, from the models.
    source : str
        Where it is described.
    safety : bool
        Whether it could hurt somebody who acts on it at a plant.

    >>> misconception("M29").number()
    'Planned stops of 8 h a year leave an unavailability of 0.000913.'
    """

    id: str
    says: str
    correction: str
    sentence: str = ""
    compute: Callable[[], Mapping[str, float]] | None = None
    source: str = PRACTICE
    safety: bool = False

    def numbers(self) -> SimpleNamespace:
        """Compute the numbers against it.

        Returns
        -------
        SimpleNamespace
            By name; empty where there are none.
        """
        return SimpleNamespace(**(self.compute() if self.compute else {}))

    def number(self) -> str:
        """Return the number against it as a sentence.

        Returns
        -------
        str
            Empty where there is none yet.
        """
        return fill(self.sentence, self.numbers())


def _controller(mttr_h: float = 4.0) -> "labkit.Part":
    return labkit.Part("controller", mtbf_h=60_000, mttr_h=mttr_h)


def _pair(mttr_h: float = 4.0, **flaws: float) -> "labkit.MarkovModel":
    return labkit.redundant_pair(60_000, mttr_h, **flaws)


def _real_pair(mttr_h: float = 4.0) -> "labkit.MarkovModel":
    return _pair(mttr_h, common_cause=0.05, coverage=0.97, diagnosed=0.9)


def _minutes(model: "labkit.Part | labkit.MarkovModel") -> float:
    """Down time in minutes per year of a block or a chain."""
    return model.unavailability * YEAR_MIN


def _after(*faults: str):
    """Return what the plant of the lessons shows some seconds after faults."""
    rig = labkit.Rig()
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(10.0)
    return rig.snapshot()


def _tank_after(*spans: tuple):
    """Return a tank after some spans, each with its seconds and what drives the tank then."""
    tank = labkit.HeaderTank()
    for seconds, drive in spans:
        tank.run(seconds, drive)
    return tank


def _time_of(name: str, run) -> float:
    return next(each.time_s for each in run.happenings if each.name == name)


class _Known(dict):
    """What a number may use: the numbers before it, and all that stands at the door of the models."""

    def __missing__(self, name: str) -> object:
        return getattr(labkit, name)


def _computed(lines: Mapping[str, str]) -> Callable[[], Mapping[str, float]]:
    """Return the function that works the numbers of an entry out, each from those before it."""
    def worked_out() -> Mapping[str, float]:
        from lessons.exercises.item_file import ALLOWED, formula

        found = _Known(ALLOWED | {
            "controller": _controller, "pair": _pair, "real_pair": _real_pair, "minutes": _minutes,
            "after": _after, "tank_after": _tank_after, "time_of": _time_of, "YEAR_MIN": YEAR_MIN})
        for name, line in lines.items():
            found[name] = eval(formula(line), found)  # checked by `formula`
        return {name: found[name] for name in lines}

    return worked_out


def _read() -> tuple[Misconception, ...]:
    """Read the register."""
    text = Path(__file__).with_suffix(".toml").read_text("utf-8")
    return tuple(
        Misconception(entry["id"], *(entry.get(key, "").replace("\n", " ")
                                     for key in ("says", "correction", "sentence")),
                      _computed(entry["numbers"]) if "numbers" in entry else None,
                      entry.get("source", PRACTICE), entry.get("safety", False))
        for entry in tomllib.loads(text)["misconception"])


REGISTER = _read()
"""All entries, the misconceptions and then the slips, in order."""


def misconception(identifier: str) -> Misconception:
    """Return the entry of an identifier.

    Parameters
    ----------
    identifier : str
        M01 and on, or S01 and on.

    Returns
    -------
    Misconception
        The entry.

    Raises
    ------
    ValueError
        Where there is no such entry.

    Examples
    --------
    >>> misconception("M03").correction
    'One availability goes with many numbers of interruptions.'
    """
    for entry in REGISTER:
        if entry.id == identifier:
            return entry
    raise ValueError(f"identifier must be one of the register, got {identifier!r}")


def safety_concern(identifier: str | None) -> str:
    """Return what learners say where that concerns safety; empty otherwise.

    >>> safety_concern("M27"), safety_concern("M04"), safety_concern("of another course")
    ('Available means safe.', '', '')
    """
    return next((entry.says for entry in REGISTER if entry.id == identifier and entry.safety), "")
