"""Lesson 06, switchover and the process: does the tank notice?"""

import functools
from types import SimpleNamespace

from labkit.plant.plant import load_plant
from labkit.plant.tank_data import TankSettings
from labkit.rig.holding import hold_run, hold_text
from labkit.rig.tank import Drive, HeaderTank, ride_through_s
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.time_outs import RESERVE_MS
from lessons.exercises.item_file import read_items
from lessons.exercises.misconceptions import misconception

OVERFLOW_S = ride_through_s(TankSettings(), TankSettings().inflow_l_per_s)
BUMP = ("KF2: integrator not tracking",)


_run_of = functools.cache(hold_run)


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
        "decision_ms": settings.decision_ms,
        "filter_ms": settings.output_filter_ms,
        "least": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in least.items()}),
        "most": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in most.items()}),
        "last_ms": silent.most_ms,
    }


def _short(numbers: SimpleNamespace) -> dict[str, object]:
    run, long = _run_of(numbers.hold_ms), _run_of(numbers.long_ms)
    tank = run.tank
    return {
        "run": run, "long": long, "restart_s": tank.pump_restart_s,
        "mm_per_s": tank.inflow_l_per_s / tank.tank_area_m2,
        "room_mm": 1000 * (tank.set_point_m - tank.low_trip_m),
        "seen": f"{hold_text(run)}\n\nWith {numbers.long_ms} ms instead:\n{hold_text(long)}",
    }


def _hold(numbers: SimpleNamespace) -> dict[str, object]:
    sizes = _budget(numbers)
    limit_ms = sizes["last_ms"] + numbers.cycle_ms + numbers.update_ms
    late = numbers.hold_ms <= limit_ms
    close = not late and numbers.hold_ms < limit_ms + RESERVE_MS
    return sizes | {"stands": "drops" if late else "close" if close else "holds"}


LESSON = read_items(__file__, globals())
