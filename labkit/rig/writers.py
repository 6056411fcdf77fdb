"""Who writes a rack around a fault: one writer, two by turns, or nobody.

The roles come from the pair in time, the writes from its clocks. What is written comes from two real
loops: the standby has tracked, so that both begin with the same opening. From then on each follows
its own reading of the same tank, and its own integrator.
"""

from dataclasses import dataclass
from types import MappingProxyType

from labkit.arguments import finite, instance, one_of
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings
from labkit.wording import capital, percent

RACK = "KF20"
"""The rack that is looked at: it opens the outlet of the header tank."""

KF2_READS_MM = -10.0
"""How much more KF2 reads than KF1, in mm: inputs err by some tenths of a per cent (common practice);
the number is invented."""

SITUATIONS = MappingProxyType({
    "no fault": ((), ()),
    "sync cable cut": ((), ("WF9: cut",)),
    "KF1 without power": ((), ("KF1: no power",)),
    "sync cable cut before, then KF1 without power": (("WF9: cut",), ("KF1: no power",)),
    "third voter lost before, then sync cable cut": (("third voter: lost",), ("WF9: cut",)),
    "sync cable cut before, then KF1 frozen": (("WF9: cut",), ("KF1: frozen",)),
    "KF2 reaches no rack, then KF1 without power": (
        ("WF2.10: cut", "WF2.20: cut", "WF2.30: cut"), ("KF1: no power",)),
})
"""By name: faults that were there before, and those that come at time 0; a voter that is not there
cannot be lost."""

BEFORE_MS, AFTER_MS = 200, 800
FAULT_MS = 5_000
RATE_OVER_MS = 400
COURSE_S = 120
MOST_READS_MM = 1000


@dataclass(frozen=True)
class Course:
    """Hold what the loops and the tank do in the seconds after the fault.

    Parameters
    ----------
    time_s, level_m : tuple of float
        Seconds after the fault, level.
    opening : dict of str to tuple of float
        For each controller that writes what its loop wants, 0 to 1, None while it writes nothing.
    """

    time_s: tuple[float, ...]
    level_m: tuple[float, ...]
    opening: dict[str, tuple[float | None, ...]]

    @property
    def apart(self) -> float:
        """How far apart at the end the loops are that still write, 0 to 1."""
        last = [each[-1] for each in self.opening.values() if each[-1] is not None]
        return max(last) - min(last) if last else 0.0


@dataclass(frozen=True)
class WritersRun:
    """Hold who led and who wrote the rack, in ms after the fault.

    Parameters
    ----------
    situation : str
        One of `SITUATIONS`.
    roles : dict of str to tuple of (int, str)
        For each controller since when it had which role; the first stands for all before.
    outputs : tuple of (int, str)
        Since when the outputs of the rack were in which state.
    writes : tuple of (int, str)
        Each accepted write and its writer.
    answer : str
        What the standby found when it asked, empty where it did not ask.
    course : Course
        Outlet and level in the two minutes after the fault.

    >>> writers_run("sync cable cut", ask_racks=False).turns_per_s
    50
    """

    situation: str
    settings: PairSettings
    roles: dict[str, tuple[tuple[int, str], ...]]
    outputs: tuple[tuple[int, str], ...]
    writes: tuple[tuple[int, str], ...]
    answer: str
    course: Course

    @property
    def leaders(self) -> tuple[str, ...]:
        """The controllers that lead at the end."""
        return tuple(unit for unit, roles in self.roles.items() if roles[-1][1] == "active")

    @property
    def writers(self) -> tuple[str, ...]:
        """The controllers that still write the rack at the end."""
        late = {unit for ms, unit in self.writes if ms > AFTER_MS - RATE_OVER_MS}
        return tuple(unit for unit in self.roles if unit in late)

    @property
    def turns_per_s(self) -> int:
        """How often a second the rack changes its writer at the end."""
        late = [unit for ms, unit in self.writes if ms > AFTER_MS - RATE_OVER_MS]
        turns = sum(a != b for a, b in zip(late, late[1:], strict=False)) + (len(set(late)) > 1)
        return turns * 1000 // RATE_OVER_MS

    @property
    def shares(self) -> dict[str, float]:
        """For each controller the share of time at the end in which its value stands."""
        start = AFTER_MS - RATE_OVER_MS
        before = [unit for ms, unit in self.writes if ms <= start]
        steps = [(start, before[-1] if before else None),
                 *((ms, unit) for ms, unit in self.writes if ms > start)]
        ends = [ms for ms, _ in steps[1:]] + [AFTER_MS]
        return {
            name: sum(end - ms for (ms, unit), end in zip(steps, ends, strict=True) if unit == name)
            / RATE_OVER_MS
            for name in self.roles
        }

    @property
    def gap_ms(self) -> int:
        """Longest time without an accepted write inside what is looked at, ms."""
        times = [-BEFORE_MS, *(ms for ms, _ in self.writes), AFTER_MS]
        return max(b - a for a, b in zip(times, times[1:], strict=False))

    @property
    def verdict(self) -> str:
        """What it comes to, in one line."""
        if len(self.writers) > 1:
            return f"both write by turns: the rack changes its writer {self.turns_per_s} times a " \
                   "second"
        if not self.writers:
            return f"nobody writes: the outputs are in their {self.outputs[-1][1]}"
        lead = "both lead by lamp, and " if len(self.leaders) > 1 else ""
        return f"{lead}{self.writers[0]} alone writes; longest gap between writes {self.gap_ms} ms"


def writers_run(situation: str, *, ask_racks: bool = True, third_vote: bool = False,
                kf2_reads_mm: float = KF2_READS_MM, seed: int = 1) -> WritersRun:
    """Let a fault come and follow the roles and the writes of one rack.

    Parameters
    ----------
    situation : str
        One of `SITUATIONS`.
    ask_racks : bool
        Whether the controllers read the writer's marks in the racks.
    third_vote : bool
        Whether a third voter must agree.
    kf2_reads_mm : float
        How much more KF2 reads than KF1, in mm: what lets the loops of two writers drift apart.
    seed : int
        Draws the phases of the clocks.

    Returns
    -------
    WritersRun

    Raises
    ------
    ValueError
        If the situation is unknown, or the readings are more than a metre apart.

    Examples
    --------
    >>> writers_run("sync cable cut").writers
    ('KF1',)
    >>> writers_run("sync cable cut", ask_racks=False, third_vote=True).writers
    ('KF1',)
    """
    one_of("situation", situation, SITUATIONS)
    if not abs(finite("kf2_reads_mm", kf2_reads_mm)) <= MOST_READS_MM:
        raise ValueError(f"kf2_reads_mm must be -{MOST_READS_MM} to {MOST_READS_MM}, "
                         f"got {kf2_reads_mm!r}")
    settings = PairSettings(ask_racks=ask_racks, third_vote=third_vote)
    rig = Rig(settings=settings, seed=seed, reads_m={"KF2": kf2_reads_mm / 1000})
    before, then = SITUATIONS[situation]
    for fault in before:
        if fault in rig.known_faults:
            rig.switch_on(fault)
    rig.wait(FAULT_MS / 1000)
    roles = {unit: [(-BEFORE_MS, role.value)] for unit, role in rig.snapshot().roles.items()}
    for fault in then:
        rig.switch_on(fault)
    course, answer = _course(rig), ""
    for entry in rig.record:
        if FAULT_MS <= entry.time_ms <= FAULT_MS + AFTER_MS:
            if entry.what == "role":
                roles[entry.who].append((entry.time_ms - FAULT_MS, entry.new))
            elif entry.what == "question to the racks":
                answer = entry.new
    return WritersRun(situation, settings, {unit: tuple(all_) for unit, all_ in roles.items()},
                      *_rack(rig._pair), answer, course)


def _course(rig: Rig) -> Course:
    """Let two minutes pass, and look at the level and at what the loops of the writers want."""
    seconds = range(COURSE_S + 1)
    level_m, opening = [], {unit: [] for unit in rig.plant.controllers}
    for second in seconds:
        if second:
            rig.wait(1.0)
        level_m.append(rig._tank.level_m)
        writing = rig._writing(rig._pair.output_history(RACK), FAULT_MS + 1000 * second - 1)
        for unit, course in opening.items():
            course.append(rig._tank.written[unit] if unit in writing else None)
    return Course(tuple(map(float, seconds)), tuple(level_m),
                  {unit: tuple(course) for unit, course in opening.items()})


def _rack(pair: Switchover) -> tuple[tuple, tuple]:
    """Return the states and the writes of the rack in what is looked at."""
    history = pair.output_history(RACK)
    first, last = FAULT_MS - BEFORE_MS, FAULT_MS + AFTER_MS
    ends = [ms for ms, *_ in history[1:]] + [last + 1]
    outputs, writes, former = [], [], None
    for (begin, state, writer), end in zip(history, ends, strict=True):
        if end <= first or begin > last:
            continue
        begin, end = max(begin, first), min(end, last + 1)
        if not outputs or outputs[-1][1] != state.value:
            outputs.append((begin - FAULT_MS, state.value))
        if state is Outputs.WRITTEN:
            former = writer
            writers = [writer] if writer else list(pair.clocks)
        else:
            # A new writer writes before its outputs have passed the filter; the former one is held.
            writers = [writer] if writer not in (None, former) else []
        writes += [(ms - FAULT_MS, name) for name in writers
                   for ms in pair.clocks[name].writes(begin - 1, end - 1)]
    return tuple(outputs), tuple(sorted(writes))


def writers_text(run: WritersRun) -> str:
    """Say who leads, who writes, and what the rack makes of it.

    Parameters
    ----------
    run : WritersRun

    Returns
    -------
    str
        Six lines.

    Examples
    --------
    >>> print(writers_text(writers_run("sync cable cut", ask_racks=False)).splitlines()[-1])
    In short: both write by turns: the rack changes its writer 50 times a second.
    """
    instance("run", run, WritersRun)
    asked = "the racks are asked" if run.settings.ask_racks else "the racks are not asked"
    voter = "a third voter must agree" if run.settings.third_vote else "no third voter"
    lines = [f"{capital(run.situation)}; {asked}, {voter}."]
    for unit, roles in run.roles.items():
        changes = ", ".join(f"{role} from {ms} ms" for ms, role in roles[1:])
        lines.append(f"{unit}: {roles[0][1]} before{', ' + changes if changes else ''}.")
    shares = " and ".join(f"{unit} for {percent(share)} of the time"
                          for unit, share in run.shares.items() if share and run.writers)
    lines.append(f"Rack {RACK} at the end: {shares or 'in its fail state, written by nobody'}.")
    course = run.course
    wants = ", ".join(f"{unit} writes {percent(each[-1], 1)}"
                      for unit, each in course.opening.items() if each[-1] is not None)
    lines.append(f"Outlet after {COURSE_S} s: {wants or 'nobody writes it'}; "
                 f"level {course.level_m[-1]:.3f} m.")
    lines.append(f"In short: {run.verdict}.")
    return "\n".join(lines)
