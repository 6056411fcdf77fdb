"""The permitted checks of a fault drill: what each takes in minutes, and what it shows.

Lamps, alarms, record and level are read from the running rig. A measurement shows what an
instrument would: its readings follow from what is amiss there (`labkit.rig.bus` for the bus).
Minutes and counts are invented, within common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from labkit.rig.bus import idle_voltage_mv, length_in_words_m, line_resistance_ohm
from labkit.rig.rig import Rig
from labkit.switchover.lamps import lamps_of
from lessons.exercises.scenes import Scene
from lessons.pictures.seen import seen_at

__all__ = ["CHECKS", "ROLE_CHANGE", "Look", "called", "panel_words", "record_words", "result_of"]

ROLE_CHANGE = "planned switchover"
READ_OUT = ("alarm", "role", "role change", "heartbeat of KF1", "heartbeat of KF2", "outputs")
MOST_LINES = 9
NO_WORK = "no work, no test entered"


@dataclass(frozen=True)
class Look:
    """Hold one permitted check.

    Parameters
    ----------
    name : str
        What is looked at or measured.
    minutes : int
        What it takes, the way there included.
    shows : callable
        From the rig to what it shows, without times of day.
    why : str
        What it tells apart; shown in commented drills.

    Examples
    --------
    >>> CHECKS["book and permits"].minutes
    1
    """

    name: str
    minutes: int
    shows: Callable[[Rig], str]
    why: str


def panel_words(rig: Rig, since_s: float = 0.0) -> str:
    """Return what the panel in the quay office shows, and what can be heard.

    Parameters
    ----------
    rig : Rig
    since_s : float
        Time of the last repair in s; what happened to the process before is left out.

    Returns
    -------
    str
        Some lines.

    Examples
    --------
    >>> print(panel_words(Rig()).splitlines()[0])
    Panel PH1: DATA, KF1, PLANT normal.
    """
    line = next(each for each in seen_at(rig).splitlines() if each.startswith("panel PH1"))
    lines = [f"{line[0].upper()}{line[1:]}."]
    snapshot = rig.snapshot()
    if snapshot.panel_sees:
        lines.append("Alarms: " + ("; ".join(snapshot.alarms) or "none") + ".")
        lines.append(_level_words(rig, since_s))
    else:
        lines.append("Alarms, level: the panel gives nothing to read.")
    heard = [each.name for each in rig.happenings
             if each.name in ("overflow", "low trip") and each.time_s >= since_s]
    if heard:
        lines.append(f"Heard: the hard-wired horn, for {', '.join(dict.fromkeys(heard))}.")
    return "\n".join(lines)


def _level_words(rig: Rig, since_s: float) -> str:
    trend = rig.trend()
    level = trend.level_m[trend.time_s >= since_s]
    if _on(rig, "BL1", "stuck"):
        return f"Level: {level[0]:.3f} m all night, to the millimetre."
    ripple = 0.008
    lowest, highest = level.min() - ripple, level.max() + ripple
    names = dict.fromkeys(each.name for each in rig.happenings if each.time_s >= since_s)
    told = f" Process: {', '.join(names)}." if names else ""
    return f"Level: {lowest:.2f} to {highest:.2f} m, now {level[-1]:.2f} m.{told}"


def record_words(rig: Rig, scene: Scene | None = None) -> str:
    """Return the record of the pair as it is printed out: who, what, from, to.

    Parameters
    ----------
    rig : Rig
    scene : Scene, optional
        Gives the times of day; without it there are none.

    Returns
    -------
    str
        At most ten lines.

    Examples
    --------
    >>> record_words(Rig())
    'nothing entered'
    """
    start_ms = round(1000 * (5.0 + (scene.before_s if scene else 35.0)))
    lines = []
    for entry in rig.record:
        if entry.time_ms <= start_ms or entry.what not in READ_OUT:
            continue
        change = f"{entry.old or 'none'} -> {entry.new or 'none'}"
        stamp = f"{_clock(scene, entry.time_ms)}  " if scene else ""
        lines.append(f"{stamp}{entry.who} {entry.what}: {change}")
    if len(lines) > MOST_LINES:
        lines = [*lines[:MOST_LINES - 1], f"and {len(lines) - MOST_LINES + 1} lines more"]
    return "\n".join(lines) or "nothing entered"


def _clock(scene: Scene, time_ms: int) -> str:
    hours, minutes = map(int, scene.starts.split(":"))
    seconds = 60 * (60 * hours + minutes) + time_ms // 1000
    return (f"{seconds // 3600 % 24:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
            f".{time_ms % 1000:03d}")


def called(scene: Scene, rig: Rig) -> str:
    """Return the time of day at which somebody is called."""
    return _clock(scene, round(1000 * rig.now_s))[:5]


def _on(rig: Rig, unit: str, *hows: str) -> bool:
    return any(f"{unit}: {how}" in rig.faults for how in hows)


def _hall(rig: Rig) -> str:
    return "\n".join(line for line in seen_at(rig).splitlines() if not line.startswith("panel"))


def _repeater(rig: Rig) -> str:
    lit = [f"{lamp.name} {lamp.text}" for lamp in lamps_of(rig.snapshot())
           if lamp.unit == "TF1"]
    return "TF1: " + ", ".join(lit)


def _book(rig: Rig) -> str:
    lines = []
    if "test: role change" in rig.faults:
        lines.append("test: switchover by hand tonight, entered and signed")
    for unit in rig.plant.controllers:
        if _on(rig, unit, "restarted"):
            lines.append(f"maintenance: {unit} restarted on purpose tonight")
        if _on(rig, unit, "program differs"):
            lines.append("yesterday: a change of the program, loaded once")
        if _on(rig, unit, "stopped"):
            lines.append(f"permit: fan filter of the cabinet of {unit}, signed off; "
                         "start not entered")
    if any(each.startswith("settings: ") for each in rig.faults):
        lines.append("last week: settings looked through by a visitor")
    if any(each.endswith(("A and B swapped", "third terminator")) for each in rig.faults):
        lines.append("yesterday: work at the panel bus, signed off")
    if _on(rig, "QM1", "shut locally"):
        lines.append("yesterday: cleaning on the roof, signed off")
    return "; ".join(lines) or NO_WORK


def _counters(rig: Rig) -> str:
    sync = "no errors"
    for how, words in (("cut", "no frames"), ("noise", "some 300 errors a minute, steady"),
                       ("bursts", "none, then hundreds within a second")):
        if _on(rig, "WF9", how):
            sync = words
    found = [f"WF9: {sync}"]
    for bus in ("WF3", "WF4"):
        words = "no errors"
        if _on(rig, bus, "cut", "A and B swapped") or _on(rig, "TF1", "no power"):
            words = "no good frames"
        elif _on(rig, bus, "terminator missing", "third terminator"):
            words = "some 40 errors a minute"
        found.append(f"{bus}: {words}")
    return "; ".join(found)


def _cycles(rig: Rig) -> str:
    said = []
    for unit, role in rig.snapshot().roles.items():
        words = "counts"
        if role.value == "off":
            words = "no answer"
        elif _on(rig, unit, "frozen"):
            words = "stands still"
        elif role.value == "stopped":
            words = "stands, program stopped" + (
                " by hand" if _on(rig, unit, "stopped") else " by its own diagnosis")
        said.append(f"{unit}: {words}")
    return "; ".join(said)


def _settings(rig: Rig) -> str:
    wrong = {"hold time too short": "hold time 200 ms, sheet 500 ms",
             "one missed beat": "missed beats 1, sheet 3",
             "racks not asked": "racks asked before a takeover: no, sheet yes"}
    found = [words for how, words in wrong.items() if _on(rig, "settings", how)]
    return "; ".join(found) or "all as on the approved sheet"


def _versions(rig: Rig) -> str:
    numbers = {}
    for unit in rig.plant.controllers:
        numbers[unit] = "7.3" if _on(rig, unit, "program differs") else "7.2"
        if _on(rig, unit, "integrator not tracking"):
            numbers[unit] = "7.2, block of the level loop edited"
    return "; ".join(f"{unit}: {number}" for unit, number in numbers.items()) + "; approved: 7.2"


def _volts(rig: Rig) -> str:
    low = [("TB1", "lowest since midnight 14.9 V")] if _on(rig, "TB1", "voltage dip") else []
    off = [unit for unit in (*rig.plant.controllers, "TF1") if _on(rig, unit, "no power")]
    found = [f"{unit}: {'0.0' if unit in off else '24.1'} V"
             for unit in (*rig.plant.controllers, "TF1", "PH1", "TB1")]
    return "; ".join(found + [f"{unit} {words}" for unit, words in low])


def _plugs(names: tuple[str, ...]) -> Callable[[Rig], str]:
    def shows(rig: Rig) -> str:
        cut = {name for each in rig.faults if each.endswith(": cut")
               for name in rig.known_faults[each].breaks}
        swapped = {each.partition(": ")[0] for each in rig.faults if "swapped" in each}
        shield = {"WF9"} if _on(rig, "WF9", "noise", "bursts") else set()
        told = [f"{name}: {words}" for name in names for group, words in (
            (cut, "open"), (swapped, "wires crossed against the drawing"),
            (shield, "shield off at one end")) if name in group]
        return "; ".join(told) or "all tight, all through"

    return shows


def _bus_ends(rig: Rig, bus: str) -> dict[str, object]:
    ends: dict[str, object] = {"near": 1, "far": 1, "whole": True}
    if _on(rig, bus, "terminator missing"):
        ends["far"] = 0
    elif _on(rig, bus, "third terminator"):
        ends["near"] = 2
    elif _on(rig, bus, "cut"):
        ends["whole"] = False
    return ends


def _ohm(rig: Rig, bus: str) -> float:
    part = rig.plant.parts[bus]
    return line_resistance_ohm(length_in_words_m(f"{part.place}; {part.what}") or 0.0,
                               **_bus_ends(rig, bus))


def _resistance(bus: str) -> Callable[[Rig], str]:
    return lambda rig: f"{bus}, supplies off, near end: {_ohm(rig, bus):.0f} ohm"


def _idle(bus: str) -> Callable[[Rig], str]:
    def shows(rig: Rig) -> str:
        sign = -1 if _on(rig, bus, "A and B swapped") else 1
        return f"{bus}, nobody sends, A against B: {sign * idle_voltage_mv(_ohm(rig, bus)):+.0f} mV"

    return shows


def _lamp_test(rig: Rig) -> str:
    if _on(rig, "PH1", "dark"):
        return "all lamps stay dark"
    return "one lamp of the row stays dark" if _on(rig, "PH1", "lamp dark") else "all lamps light"


def _dipstick(rig: Rig) -> str:
    level = rig.trend().level_m[-1]
    if _on(rig, "BL1", "stuck"):
        return f"dipstick {level + 0.04:.2f} m, five minutes later {level + 0.07:.2f} m; BL1 stands"
    return "dipstick and BL1 agree, twice"


def _local(rig: Rig) -> str:
    return "QM1: local, shut" if _on(rig, "QM1", "shut locally") else "QM1: remote, open"


def _modules(rig: Rig) -> str:
    told = [f"{rack}: module fault shown" for rack in rig.plant.racks
            if _on(rig, rack, "module fault")]
    told += [f"{each.partition(': ')[0]}: shows its own fault" for each in rig.faults
             if each.endswith(": dead")]
    return "; ".join(told) or "no fault shown at any rack"


def _role_change(rig: Rig) -> str:
    """Ask for a planned switchover on the rig itself, and say what was seen of it."""
    leader = next((u for u, role in rig.snapshot().roles.items() if role.value == "active"), "none")
    before = set(rig.snapshot().alarms)
    happened = len(rig.happenings)
    answer = rig.request_role_change()
    rig.wait(30.0)
    now = [u for u, role in rig.snapshot().roles.items() if role.value == "active"]
    kept = "the other unit" if now and now != [leader] else f"still {leader}"
    new = sorted(set(rig.snapshot().alarms) - before)
    names = dict.fromkeys(each.name for each in rig.happenings[happened:])
    return (f"asked: {answer.new}; leads now: {kept}; new alarms: {'; '.join(new) or 'none'}; "
            f"process: {', '.join(names) or 'steady'}")


RACK_CABLES = tuple(f"{way}.{rack}" for rack in ("10", "20", "30") for way in ("WF1", "WF2"))
CHECKS = {look.name: look for look in (
    Look("book and permits", 1, _book, "A test or work on purpose explains most switchovers."),
    Look("record of the pair", 3, record_words, "The first line counts, and not the last."),
    Look("lamp test of PH1", 1, _lamp_test, "A dark lamp says nothing until it was tested."),
    Look("lamps in the hall", 6, _hall, "They show control itself, whatever the panel sees."),
    Look("lamps of the repeater", 6, _repeater, "They split the panel bus into two halves."),
    Look("error counters", 3, _counters, "They show a line that still works, but poorly."),
    Look("cycle counters", 2, _cycles, "They tell a running program from a living heartbeat."),
    Look("settings against the sheet", 4, _settings, "A wrong setting shows nothing until needed."),
    Look("program versions", 5, _versions, "Two different programs make no pair."),
    Look("24 V at the units", 9, _volts, "It tells no supply from no program."),
    Look("plugs of WF9", 9, _plugs(("WF9",)), "Loose plugs are the first suspects."),
    Look("plugs of the rack links", 14, _plugs(RACK_CABLES), "They tell a cable from a module."),
    Look("plugs of the panel bus", 9, _plugs(("WF3", "WF4")), "Loose or crossed wires show here."),
    Look("faults shown at the racks", 10, _modules, "They tell a module from its cables."),
    Look("resistance of WF3", 17, _resistance("WF3"), "It counts the terminators; add the copper."),
    Look("resistance of WF4", 17, _resistance("WF4"), "It counts the terminators; add the copper."),
    Look("idle voltage of WF3", 11, _idle("WF3"), "Its sign tells A from B."),
    Look("idle voltage of WF4", 11, _idle("WF4"), "Its sign tells A from B."),
    Look("level by dipstick", 10, _dipstick, "A second reading tells a stuck sensor."),
    Look("local switch of QM1", 7, _local, "A valve may be shut where no lamp tells."),
    Look(ROLE_CHANGE, 5, _role_change, "Only this shows faults that sleep in the standby."),
)}


def result_of(name: str, rig: Rig, scene: Scene | None = None) -> str:
    """Return what a check shows; a planned switchover changes the rig.

    Parameters
    ----------
    name : str
        One of `CHECKS`.
    rig : Rig
        The plant as it stands.
    scene : Scene, optional
        Gives the record its times of day, and the book a line that need not matter.

    Returns
    -------
    str

    Examples
    --------
    >>> from lessons.exercises.scenes import run_scene
    >>> result_of("lamps of the repeater", run_scene(Scene(("TF1: no power",), "KF1")))[:30]
    'TF1: SUPPLY NEAR dark, no supp'
    """
    if name == "record of the pair":
        return record_words(rig, scene)
    shown = CHECKS[name].shows(rig)
    if name == "book and permits" and scene is not None and scene.work not in shown:
        return scene.work if shown == NO_WORK else f"{shown}; {scene.work}"
    return shown
