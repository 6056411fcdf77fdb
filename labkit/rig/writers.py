"""Who writes a rack around a fault: one writer, two by turns, or nobody.

The roles come from the pair in time, the writes from its clocks, and the value at the terminal is
the one that was written last. The two values are invented: they stand for two programs that each
follow their own data.
"""

from dataclasses import dataclass
from types import MappingProxyType

from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings
from labkit.wording import capital

__all__ = ["AFTER_MS", "BEFORE_MS", "RACK", "SITUATIONS", "VALUES", "WritersRun", "writers_run",
           "writers_text"]

RACK = "KF20"
"""The rack that is looked at: it opens the outlet of the header tank."""

VALUES = MappingProxyType({"KF1": 62.0, "KF2": 35.0})
"""Opening that each controller writes, in per cent of full opening; invented."""

SITUATIONS = MappingProxyType({
    "no fault": ((), ()),
    "sync cable cut": ((), ("WF9: cut",)),
    "KF1 without power": ((), ("KF1: no power",)),
    "sync cable cut before, then KF1 without power": (("WF9: cut",), ("KF1: no power",)),
    "sync cable cut before, then KF1 frozen": (("WF9: cut",), ("KF1: frozen",)),
    "KF2 reaches no rack, then KF1 without power": (
        ("WF2.10: cut", "WF2.20: cut", "WF2.30: cut"), ("KF1: no power",)),
})
"""By name: faults that were there before, and those that come at time 0."""

BEFORE_MS, AFTER_MS = 200, 800
FAULT_MS = 5_000
RATE_OVER_MS = 400


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

    >>> writers_run("sync cable cut", ask_racks=False).turns_per_s
    50
    """

    situation: str
    settings: PairSettings
    roles: dict[str, tuple[tuple[int, str], ...]]
    outputs: tuple[tuple[int, str], ...]
    writes: tuple[tuple[int, str], ...]
    answer: str

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
                seed: int = 1) -> WritersRun:
    """Let a fault come and follow the roles and the writes of one rack.

    Parameters
    ----------
    situation : str
        One of `SITUATIONS`.
    ask_racks : bool
        Whether the controllers read the writer's marks in the racks.
    third_vote : bool
        Whether a third voter must agree.
    seed : int
        Draws the phases of the clocks.

    Returns
    -------
    WritersRun

    Raises
    ------
    ValueError
        If the situation is unknown.

    Examples
    --------
    >>> writers_run("sync cable cut").writers
    ('KF1',)
    >>> writers_run("sync cable cut", ask_racks=False, third_vote=True).writers
    ('KF1',)
    """
    if situation not in SITUATIONS:
        raise ValueError(f"situation must be one of {', '.join(SITUATIONS)}; got {situation!r}")
    settings = PairSettings(ask_racks=ask_racks, third_vote=third_vote)
    pair = Switchover(load_plant(), settings, seed=seed)
    before, then = SITUATIONS[situation]
    for fault in before:
        pair.switch_on(fault)
    pair.run_to(FAULT_MS)
    units = tuple(pair.clocks)
    roles = {unit: [(-BEFORE_MS, pair.snapshot().roles[unit].value)] for unit in units}
    for fault in then:
        pair.switch_on(fault)
    pair.run_to(FAULT_MS + AFTER_MS)
    answer = ""
    for entry in pair.record:
        if entry.time_ms < FAULT_MS:
            continue
        if entry.what == "role":
            roles[entry.who].append((entry.time_ms - FAULT_MS, entry.new))
        elif entry.what == "question to the racks":
            answer = entry.new
    return WritersRun(situation, settings, {unit: tuple(all_) for unit, all_ in roles.items()},
                      *_rack(pair), answer)


def _rack(pair: Switchover) -> tuple[tuple, tuple]:
    """Return the states and the writes of the rack in what is looked at."""
    history = pair.output_history(RACK)
    first, last = FAULT_MS - BEFORE_MS, FAULT_MS + AFTER_MS
    ends = [ms for ms, *_ in history[1:]] + [last + 1]
    outputs, writes, former = [], [], None
    for (begin, state, writer), end in zip(history, ends, strict=True):
        if end <= first:
            continue
        begin = max(begin, first)
        if not outputs or outputs[-1][1] != state.value:
            outputs.append((begin - FAULT_MS, state.value))
        if state is Outputs.WRITTEN:
            former = writer
            writers = [writer] if writer else list(pair.clocks)
        else:
            # A new writer writes before its outputs have passed the filter; the former one is held.
            writers = [writer] if writer not in (None, former) else []
        for name in writers:
            ms = pair.clocks[name].next_write(begin - 1)
            while ms < end:
                writes.append((ms - FAULT_MS, name))
                ms = pair.clocks[name].next_write(ms)
    return tuple(outputs), tuple(sorted(writes))


def writers_text(run: WritersRun) -> str:
    """Say who leads, who writes, and what the rack makes of it.

    Parameters
    ----------
    run : WritersRun

    Returns
    -------
    str
        Five lines.

    Examples
    --------
    >>> print(writers_text(writers_run("sync cable cut", ask_racks=False)).splitlines()[-1])
    In short: both write by turns: the rack changes its writer 50 times a second.
    """
    asked = "the racks are asked" if run.settings.ask_racks else "the racks are not asked"
    voter = "a third voter must agree" if run.settings.third_vote else "no third voter"
    lines = [f"{capital(run.situation)}; {asked}, {voter}."]
    for unit, roles in run.roles.items():
        changes = ", ".join(f"{role} from {ms} ms" for ms, role in roles[1:])
        lines.append(f"{unit}: {roles[0][1]} before{', ' + changes if changes else ''}.")
    shares = "; ".join(
        f"{VALUES[unit]:.0f} %, from {unit}, for {100 * share:.0f} % of the time"
        for unit, share in run.shares.items() if share and run.writers)
    lines.append(f"Outlet at rack {RACK} at the end: {shares or 'that of the fail state'}.")
    lines.append(f"In short: {run.verdict}.")
    return "\n".join(lines)
