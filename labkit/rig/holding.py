"""Hold time and tank: one takeover, what the racks do meanwhile, and what the tank makes of it."""

from dataclasses import dataclass

from labkit.arguments import count, instances, number, one_of
from labkit.plant.plant import Plant, load_plant
from labkit.plant.tank_data import TankSettings
from labkit.rig.rig import LONGEST_WAIT_S, Rig, Trend
from labkit.rig.tank import Happening
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings
from labkit.wording import capital, shown

CAUSES = ("KF1: no power", "KF1: stopped", "TB1: off")
"""What may end the lead of KF1: silent, announced, or both units at once."""

EXTRAS = ("KF2: integrator not tracking", "QM1: shut locally")
"""What may be amiss beside it."""

FAULT_MS = 1_000


@dataclass(frozen=True, eq=False)
class HoldRun:
    """Hold what one takeover did to the outputs and to the tank.

    Parameters
    ----------
    hold_ms : int
        Hold time of the racks, ms.
    cause : str
        One of `CAUSES`.
    extras : tuple of str
        Some of `EXTRAS`.
    outputs : tuple of (int, str)
        When, in ms after the fault, the outputs of the pump rack came into which state; the first
        one stands for all that was before.
    gap_ms : int or None
        From the fault to the first correct output at the terminal, ms; None where none came.
    dropped_ms : int or None
        When the outputs let go, ms after the fault; None where they held.
    last_write_ms : int or None
        Last write that the rack took from KF1, in ms after the fault: at most 0. The hold time
        runs from here. None where a short gap hides it.
    trend : Trend
        Course of the tank; the fault comes at 1 s.
    event_cost : float
        Cost of the event, in the plant's currency.

    >>> hold_run(500).dropped_ms is None
    True
    """

    hold_ms: int
    cause: str
    extras: tuple[str, ...]
    outputs: tuple[tuple[int, str], ...]
    gap_ms: int | None
    dropped_ms: int | None
    last_write_ms: int | None
    trend: Trend
    tank: TankSettings
    happenings: tuple[Happening, ...]
    event_cost: float
    currency: str

    @property
    def lowest_m(self) -> float:
        """Lowest level, m."""
        return float(self.trend.level_m.min())

    @property
    def highest_m(self) -> float:
        """Highest level, m."""
        return float(self.trend.level_m.max())

    @property
    def first_output(self) -> str:
        """What the first output after the fault is called: no correct one without tracking."""
        return "first output of KF2" if EXTRAS[0] in self.extras else "first correct output"

    @property
    def cost_text(self) -> str:
        """Cost of the event with its currency, thousands set apart."""
        return f"{self.currency} {shown(round(self.event_cost))}"

    @property
    def moved_mm(self) -> float:
        """Largest distance of the level from the set-point, mm."""
        set_point_m = self.tank.set_point_m
        return 1000 * max(self.highest_m - set_point_m, set_point_m - self.lowest_m)


def hold_run(
    hold_ms: int = 500, *, cause: str = "KF1: no power", extras: tuple[str, ...] = (),
    wait_s: float = 119.0, seed: int = 1,
) -> HoldRun:
    """Let KF1 go at one second and follow racks and tank.

    Parameters
    ----------
    hold_ms : int
        Hold time of the racks in ms; more than 60.
    cause : str
        One of `CAUSES`.
    extras : tuple of str
        Some of `EXTRAS`; they are there from the start, the valve is shut with the fault.
    wait_s : float
        How long to go on after the fault, in s, >= 1.
    seed : int
        Draws the phases of the clocks.

    Returns
    -------
    HoldRun

    Raises
    ------
    ValueError
        If the cause or an extra is unknown, or a number outside its range.

    Examples
    --------
    >>> run = hold_run(200)
    >>> run.dropped_ms < run.gap_ms, [happening.name for happening in run.happenings][-1]
    (True, 'low trip')
    """
    one_of("cause", cause, CAUSES)
    unknown = sorted({*instances("extras", extras, str)} - {*EXTRAS})
    if unknown:
        raise ValueError(f"extras must be among {', '.join(EXTRAS)}, got {unknown[0]!r}")
    if not 1 <= number("wait_s", wait_s) <= LONGEST_WAIT_S:
        raise ValueError(f"wait_s must be from 1 to {LONGEST_WAIT_S}, got {wait_s}")
    plant = load_plant()
    tank = TankSettings.from_mapping(plant.process)
    rig = _after(plant, hold_ms, cause, extras, wait_s, seed)
    outputs = _outputs(rig, tank.pump_rack)
    back = [ms for ms, state in outputs[1:] if state == Outputs.WRITTEN.value]
    return HoldRun(
        hold_ms, cause, tuple(extras), outputs, back[0] if back else None, _dropped(outputs),
        _last_write(plant, tank.pump_rack, cause, seed), rig.trend(), tank, rig.happenings,
        rig.event_cost, plant.currency,
    )


def _after(
    plant: Plant, hold_ms: int, cause: str, extras: tuple[str, ...], wait_s: float, seed: int
) -> Rig:
    """Return the rig some time after the fault."""
    rig = Rig(plant, PairSettings(hold_ms=hold_ms), seed=seed)
    if EXTRAS[0] in extras:
        rig.switch_on(EXTRAS[0])
    rig.wait(FAULT_MS / 1000)
    if EXTRAS[1] in extras:
        rig.switch_on(EXTRAS[1])
    rig.switch_on(cause)
    rig.wait(wait_s)
    return rig


def _outputs(rig: Rig, rack: str) -> tuple[tuple[int, str], ...]:
    """Return the states of the outputs of a rack, in ms after the fault."""
    changes = [(entry.time_ms - FAULT_MS, entry.new) for entry in rig.record
               if (entry.who, entry.what) == (rack, "outputs")]
    return ((0, Outputs.WRITTEN.value), *changes)


def _last_write(plant: Plant, rack: str, cause: str, seed: int) -> int | None:
    """Return when the rack took its last write: the shortest hold time tells it."""
    shortest_ms = PairSettings().longest_write_gap_ms + 1
    dropped_ms = _lets_go(plant, rack, shortest_ms, cause, seed)
    return None if dropped_ms is None else dropped_ms - shortest_ms


def _lets_go(plant: Plant, rack: str, hold_ms: int, cause: str, seed: int) -> int | None:
    """Return when a rack lets go: by its hold time after the fault, if at all."""
    wait_s = PairSettings(hold_ms=hold_ms).hold_ms / 1000
    return _dropped(_outputs(_after(plant, hold_ms, cause, (), wait_s, seed), rack))


def _dropped(outputs: tuple[tuple[int, str], ...]) -> int | None:
    return next((ms for ms, state in outputs if state == Outputs.FAIL_STATE.value), None)


def hold_text(run: HoldRun) -> str:
    """Say what one takeover did to the outputs and to the tank.

    Returns
    -------
    str
        Some lines; times count from the fault.

    >>> print(hold_text(hold_run(500)).splitlines()[0])
    Hold time 500 ms; KF1: no power.
    """
    amiss = "".join(f"; {extra}" for extra in run.extras)
    lines = [f"Hold time {run.hold_ms} ms; {run.cause}{amiss}."]
    gap = "no output of KF2 came" if run.gap_ms is None else \
        f"{run.first_output} after {run.gap_ms} ms"
    since = "" if run.last_write_ms is None else \
        f" The last write came {-run.last_write_ms} ms before the fault."
    kept = "the outputs were held" if run.dropped_ms is None else \
        f"the outputs let go after {run.dropped_ms} ms"
    lines.append(f"{capital(gap)}; {kept}.{since}")
    for happening in run.happenings:
        lines.append(f"{happening.time_s - FAULT_MS / 1000:6.1f} s  {happening.text}")
    lines.append(
        f"Level: lowest {run.lowest_m:.3f} m, highest {run.highest_m:.3f} m, "
        f"at most {run.moved_mm:.1f} mm from the set-point.")
    lines.append(f"Cost of the event: {run.cost_text}.")
    return "\n".join(lines)


def share_dropped(hold_ms: int, *, runs: int = 40, cause: str = "KF1: no power") -> float:
    """Return the share of takeovers in which the outputs let go, over phases of the clocks.

    Parameters
    ----------
    hold_ms : int
        Hold time of the racks in ms.
    runs : int
        How many seeds, >= 1.
    cause : str
        One of `CAUSES`.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If `runs` is below 1, or as `hold_run`.

    Examples
    --------
    >>> share_dropped(500, runs=5)
    0.0
    """
    runs = count("runs", runs, least=1, most=10_000)
    one_of("cause", cause, CAUSES)
    plant = load_plant()
    rack = TankSettings.from_mapping(plant.process).pump_rack
    return sum(_lets_go(plant, rack, hold_ms, cause, seed) is not None
               for seed in range(1, runs + 1)) / runs
