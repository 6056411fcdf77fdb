"""Lesson 05, heartbeat and time-out: how soon may the standby believe it?"""

import functools
from types import SimpleNamespace

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import (
    RESERVE_MS,
    TimeOut,
    false_alarms_by_beats,
    fewest_beats,
    how_often,
    time_out,
)
from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.item_file import read_items

ONE_IN_TEN_YEARS = 0.1
RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@functools.cache
def _time_out(beat_ms: int, beats: int, margin_ms: int, loss: float) -> TimeOut:
    settings = PairSettings(heartbeat_ms=beat_ms, missed_beats=beats, margin_ms=margin_ms)
    return time_out(settings, Channel(loss=loss))


def _sizes(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from beat, missed beats, margin and loss."""
    loss = 1 / numbers.one_in
    found = _time_out(numbers.beat_ms, numbers.beats, numbers.margin_ms, loss)
    return {
        "least_ms": found.silent_ms[0],
        "most_ms": found.silent_ms[1],
        "first_ms": found.takeover_ms[0],
        "last_ms": found.takeover_ms[1],
        "often": how_often(found.false_alarms_per_year),
        "row": f"{loss:g}{str(numbers.beats).translate(RAISED)}",
    }


def _one_more(numbers: SimpleNamespace) -> dict[str, object]:
    settings = PairSettings(heartbeat_ms=numbers.beat_ms)
    single = Channel(loss=numbers.loss)
    gaps = Channel(loss=numbers.loss, beat_gap_ms=numbers.beat_gap_ms)
    rates, rough = (false_alarms_by_beats(settings, each, 6) for each in (single, gaps))
    lines = ["missed beats   single losses     with gaps"]
    lines += [
        f"{n:12}   {how_often(a):15}   {how_often(b)}"
        for n, (a, b) in enumerate(zip(rates, rough, strict=True), 1)
    ]
    return {"rates": rates, "rough": rough, "factor": rates[2] / rates[3],
            "rough_factor": rough[2] / rough[3], "seen": "\n".join(lines)}


def _stands_of(often: bool, late: bool) -> str:
    if often and late:
        return "breaks both"
    return "too often" if often else "too late" if late else "keeps both"


@functools.cache
def _fewest(beat_ms: int, loss: float, bound_per_a: float) -> tuple[int, tuple[float, ...]]:
    settings, channel = PairSettings(heartbeat_ms=beat_ms), Channel(loss=loss)
    least = fewest_beats(settings, channel, bound_per_a)
    return least, false_alarms_by_beats(settings, channel, least)


def _least_of(numbers: SimpleNamespace) -> dict[str, object]:
    loss = 1 / numbers.one_in
    least, rates = _fewest(numbers.beat_ms, loss, numbers.bound_per_a)
    bound, short = how_often(numbers.bound_per_a), how_often(rates[-2])
    return {
        "loss": loss, "least": least, "bound": bound,
        "beats_per_a": HOURS_PER_YEAR * 3_600_000 / numbers.beat_ms,
        "enough": how_often(rates[-1]),
        "short": f"{shown(rates[-2])} a year" if short == bound else short,
    }


def _proposal(numbers: SimpleNamespace) -> dict[str, object]:
    made: dict[str, object] = {}
    for name, (beat_ms, beats) in PROPOSALS.items():
        found = _time_out(beat_ms, beats, 10, 1 / numbers.one_in)
        late = found.unwritten_ms + RESERVE_MS > numbers.hold_ms
        often = found.false_alarms_per_year >= ONE_IN_TEN_YEARS
        made[name] = SimpleNamespace(
            silent_ms=found.silent_ms[1], last_ms=found.takeover_ms[1],
            per_a=found.false_alarms_per_year,
            stands=_stands_of(often, late),
        )
    kept = [name for name in PROPOSALS if made[name].stands == "keeps both"]
    made["kept"] = " or ".join(kept) or "none of these"
    return made


PROPOSALS = {"A": (50, 3), "B": (50, 5), "C": (20, 6)}


LESSON = read_items(__file__, globals())
