"""Lesson 06, switchover and the process: does the tank notice?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.plant.plant import load_plant
from labkit.rig.holding import HoldRun, hold_run, hold_text
from labkit.rig.tank import Drive, HeaderTank, TankSettings, ride_through_s
from labkit.switchover.settings import PairSettings, switchover_budget
from lessons.exercises.item_file import read_items
from lessons.exercises.misconceptions import misconception

__all__ = ["LESSON"]

RESERVE_MS = 100
OVERFLOW_S = ride_through_s(TankSettings(), TankSettings().inflow_l_per_s)
BUMP = ("KF2: integrator not tracking",)


@functools.cache
def _run(hold_ms: int, cause: str = "KF1: no power", extras: tuple[str, ...] = ()) -> HoldRun:
    return hold_run(hold_ms, cause=cause, extras=extras)


@functools.cache
def _step() -> dict[str, float]:
    """The step of a standby that did not track, and what it does to the tank."""
    return vars(misconception("M23").numbers())


@functools.cache
def _without_blowers() -> dict[str, float]:
    """Minutes until the oxygen alarm and the action limit, both controllers out."""
    tank = HeaderTank()
    tank.run(3600.0, Drive("fail state", "fail state", "fail state", "fail state"))
    at_min = {each.name: each.time_s / 60 for each in tank.happenings}
    return {"alarm_min": at_min["oxygen alarm"], "action_min": at_min["oxygen action"],
            "loss_eur": next(step.cost for step in load_plant().costs
                             if "oxygen_action" in step.happening)}


def _budget(numbers: SimpleNamespace) -> dict[str, object]:
    """Terms and sums of the budget for the drawn settings."""
    settings = PairSettings(
        heartbeat_ms=numbers.beat_ms, missed_beats=numbers.beats, cycle_ms=numbers.cycle_ms,
        rack_update_ms=numbers.update_ms, hold_ms=2000,
    )
    silent = switchover_budget(settings)
    least, most = (
        {term.name: getattr(term, bound) for term in silent.terms}
        for bound in ("least_ms", "most_ms")
    )
    return {
        "time_out_ms": numbers.beats * numbers.beat_ms,
        "found_ms": settings.detection_most_ms,
        "decision_ms": settings.decision_ms,
        "filter_ms": settings.output_filter_ms,
        "two_cycles_ms": 2 * numbers.cycle_ms,
        "least": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in least.items()}),
        "most": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in most.items()}),
        "first_ms": silent.least_ms,
        "last_ms": silent.most_ms,
        "limit_ms": silent.most_ms + settings.longest_write_gap_ms,
        "needed_ms": silent.most_ms + settings.longest_write_gap_ms + RESERVE_MS,
    }


def _short(numbers: SimpleNamespace) -> dict[str, object]:
    run, long = _run(numbers.hold_ms), _run(numbers.long_ms)
    tank = run.tank
    return {
        "run": run, "long": long, "restart_s": tank.pump_restart_s,
        "mm_per_s": tank.inflow_l_per_s / tank.tank_area_m2,
        "room_mm": 1000 * (tank.set_point_m - tank.low_trip_m),
        "seen": f"{hold_text(run)}\n\nWith {numbers.long_ms} ms instead:\n{hold_text(long)}",
    }


def _bump(numbers: SimpleNamespace) -> dict[str, object]:
    run = _run(500, "KF1: stopped", BUMP)
    return {
        "run": run, "peak_m": run.highest_m - run.tank.set_point_m, "seen": hold_text(run),
        "gap_ms": run.gap_ms, "first": run.tank.untracked_opening,
        "stood": run.tank.balance_opening, "points": _step()["points"], "flow": _step()["flow"],
    }


def _ride(numbers: SimpleNamespace) -> dict[str, object]:
    in_l, out_l = numbers.flows
    tank = TankSettings(
        tank_area_m2=numbers.area_m2, inflow_l_per_s=30.0, set_point_m=1.2,
        overflow_m=1.2 + numbers.above_m, low_trip_m=1.2 - numbers.below_m,
    )
    difference = in_l - out_l
    height_m = numbers.above_m if difference > 0 else numbers.below_m
    other_m = numbers.below_m if difference > 0 else numbers.above_m
    lasts_s = ride_through_s(tank, difference)
    return {
        "in_l": in_l, "out_l": out_l, "difference": abs(difference), "height_m": height_m,
        "rises": difference > 0, "way": "rises" if difference > 0 else "sinks",
        "limit": "overflow" if difference > 0 else "low trip",
        "volume_l": 1000 * numbers.area_m2 * height_m,
        "lasts_s": lasts_s,
        "other_s": 1000 * numbers.area_m2 * other_m / abs(difference),
        "gross_s": 1000 * numbers.area_m2 * height_m / max(in_l, out_l),
        "stands": "lasts" if lasts_s >= numbers.act_s else "too short",
        "said": "the tank lasts" if lasts_s >= numbers.act_s else "the tank does not last",
    }


def _hold(numbers: SimpleNamespace) -> dict[str, object]:
    sizes = _budget(numbers)
    late = numbers.hold_ms <= sizes["limit_ms"]
    close = not late and numbers.hold_ms < sizes["needed_ms"]
    return sizes | {"stands": "drops" if late else "close" if close else "holds"}


LESSON = read_items(__file__, {
    "OVERFLOW_S": OVERFLOW_S,
    "PairSettings": PairSettings,
    "RESERVE_MS": RESERVE_MS,
    "budget": _budget,
    "bump": _bump,
    "hold": _hold,
    "misconception": misconception,
    "ride": _ride,
    "run_of": _run,
    "short": _short,
    "step": _step,
    "switchover_budget": switchover_budget,
    "without_blowers": _without_blowers,
})
