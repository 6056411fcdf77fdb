"""What is shown in a fault drill, in words: the panel, the record, and each permitted check.

Which checks there are, what they take and what an instrument shows stands in the catalogue of the
models (`labkit.rig.checks`).
"""

import functools

from labkit.plant.plant import Plant
from labkit.plant.tank_data import TankSettings
from labkit.rig.checks import BOOK, NO_WORK, Look, catalogue, hall_check, record_check
from labkit.rig.rig import Rig
from labkit.rig.tank import NO_FLOW
from lessons.exercises.scenes import Scene
from lessons.pictures.seen import seen_at

READ_OUT = ("alarm", "role", "role change", "outputs")
MOST_LINES = 40
RIPPLE_M = 0.008
QUESTIONS = ("what changed", "what still works", "since when")
"""What a caller can be asked, in a few words each."""


@functools.lru_cache(maxsize=8)
def checks_of(plant: Plant) -> dict[str, Look]:
    """Return the permitted checks of a drill at a plant, by name, in the order of the list.

    >>> from labkit import load_plant
    >>> checks_of(load_plant())["book and permits"].minutes
    1.0
    """
    own = (record_check(plant), hall_check(plant))
    return {look.name: look for look in catalogue(plant)
            if look.shows is not None or look.name in own}


def panel_words(rig: Rig, since_s: float = 0.0) -> str:
    """Return what the panel shows, and what can be heard.

    Parameters
    ----------
    since_s : float
        Time of the last repair in s; what happened to the process before is left out.

    >>> print(panel_words(Rig()).splitlines()[0])
    Panel PH1: DATA, KF1, PLANT normal.
    """
    panels = [line for line in seen_at(rig).splitlines() if line.startswith("panel ")]
    lines = [f"{line[0].upper()}{line[1:]}." for line in panels] or ["There is no panel."]
    snapshot = rig.snapshot()
    if snapshot.panel_sees:
        lines.append("Alarms: " + ("; ".join(snapshot.alarms) or "none") + ".")
        if rig.plant.process:
            lines.append(_level_words(rig, since_s))
    elif panels:
        lines.append("Alarms, level: the panel gives nothing to read.")
    heard = [each.name for each in rig.happenings
             if each.name in ("overflow", "low trip") and each.time_s >= since_s]
    if heard:
        lines.append(f"Heard: the hard-wired horn, for {', '.join(dict.fromkeys(heard))}.")
    return "\n".join(lines)


def complaint(scene: Scene, rig: Rig) -> str:
    """Return what the caller says: what a person sees and hears, and no cause.

    >>> from lessons.exercises.scenes import run_scene
    >>> scene = Scene(("TF1: no power",), "KF1")
    >>> complaint(scene, run_scene(scene))
    'All values on my screen have stopped.'
    """
    snapshot = rig.snapshot()
    names = {each.name for each in rig.happenings}
    lit = [line for line in seen_at(rig).splitlines() if line.startswith("panel ")]
    leads = snapshot.leaders
    said = (
        ("overflow" in names, "The horn sounds, and water runs over the edge of the tank."),
        ("low trip" in names, "The horn sounds, and no water comes."),
        (any(line.endswith(": dark") for line in lit), "My screen is black."),
        (bool(lit) and not snapshot.panel_sees, "All values on my screen have stopped."),
        ("light off" in names, "The light over the water went out."),
        (bool(_not_written(rig)), "Something has stopped."),
        (bool(lit) and not any(unit in line for line in lit for unit in snapshot.roles),
         "I cannot see who leads: neither lamp is lit."),
        (bool(lit and rig.plant.process) and not level_is_live(rig), "The level has stood on one number all night."),
        ("bump" in names, "The level went up by itself, and nobody touched anything."),
        (snapshot.redundancy_lost, "A lamp is lit that was dark when I came. All goes on."),
        (bool(snapshot.alarms), "There is a line in the list that I do not know."),
        (leads != (scene.leader,), "The other controller leads now, and I touched nothing."),
    )
    return next((words for holds, words in said if holds),
                "All looks as ever. Come and look all the same.")


def answer_to(question: str, scene: Scene, rig: Rig) -> str:
    """Return what the caller answers: true as far as it goes, and not always of use."""
    if question == "what changed":
        return f"I heard of this: {scene.work.replace(': ', ', ')}." if scene.work else "Nobody was here that I know of."
    if question == "what still works":
        stands = _not_written(rig)
        if stands:
            return f"I went to look. Nothing moves at {', '.join(stands)}."
        return ("I went to look. All of it runs, and no water flows on yet."
                if NO_FLOW in rig.snapshot().alarms else
                "I went to look. Right now all of it does what it should.")
    quiet = panel_words(rig).splitlines()[1:2] == ["Alarms: none."]
    began = _clock(scene, round(1000 * (5.0 + scene.before_s)))[:5]
    return "I cannot say. Nothing came up that I saw." if quiet else f"Since about {began}."


def _not_written(rig: Rig) -> list[str]:
    """Return what the racks drive that are in their fail state."""
    return [rig.plant.parts[rack].what.partition(":")[0].removeprefix("rack of ")
            for rack, state in rig.snapshot().outputs.items() if state.value == "fail state"]


def level_is_live(rig: Rig) -> bool:
    """Return whether the level that the panel shows is that of the tank."""
    sensor = TankSettings.from_mapping(rig.plant.process).level_sensor
    return not any(rig.known_faults[each].mode == "stuck" and rig.known_faults[each].is_at(sensor)
                   for each in rig.faults)


def _level_words(rig: Rig, since_s: float) -> str:
    trend = rig.trend()
    level_m = trend.level_m[trend.time_s >= since_s]
    if not level_is_live(rig):
        return f"Level: {level_m[0]:.3f} m all night, to the millimetre."
    lowest_m, highest_m = level_m.min() - RIPPLE_M, level_m.max() + RIPPLE_M
    names = dict.fromkeys(each.name for each in rig.happenings if each.time_s >= since_s)
    told = f" Process: {', '.join(names)}." if names else ""
    return f"Level: {lowest_m:.2f} to {highest_m:.2f} m, now {level_m[-1]:.2f} m.{told}"


def record_words(rig: Rig, scene: Scene | None = None) -> str:
    """Return the record as it is printed out: who, what, from, to.

    Parameters
    ----------
    scene : Scene, optional
        Gives the times of day; without it there are none.

    >>> record_words(Rig())
    'nothing entered'
    """
    start_ms = round(1000 * (5.0 + (scene.before_s if scene else 35.0)))
    lines = []
    panels = rig.snapshot().panels
    alive = dict.fromkeys(rig.plant.controllers, True)
    for entry in rig.record:
        # Who has no power writes nothing, its own end least of all; a panel has no pen here.
        writes = alive.get(entry.who, any(alive.values())) and entry.who not in panels
        if entry.what == "role":
            alive[entry.who] = entry.new != "off"
            writes = writes and alive[entry.who]
        told = entry.what in READ_OUT or entry.what.startswith("heartbeat of ")
        if entry.time_ms <= start_ms or not told or not writes:
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


def result_of(name: str, rig: Rig, scene: Scene | None = None) -> str:
    """Return what a check shows; a planned switchover changes the rig.

    Parameters
    ----------
    name : str
        One of `checks_of`.
    rig : Rig
        The plant as it stands.
    scene : Scene, optional
        Gives the record its times of day, and the book a line that need not matter.

    >>> from lessons.exercises.scenes import run_scene
    >>> result_of("lamps of TF1", run_scene(Scene(("TF1: no power",), "KF1")))[:30]
    'TF1: SUPPLY NEAR dark, no supp'
    """
    if name == record_check(rig.plant):
        return record_words(rig, scene)
    if name == hall_check(rig.plant):
        return "\n".join(line for line in seen_at(rig).splitlines()
                         if not line.startswith("panel"))
    shown = checks_of(rig.plant)[name].shows(rig)
    if name == BOOK and scene is not None and scene.work not in shown:
        return scene.work if shown == NO_WORK else f"{shown}; {scene.work}"
    return shown
