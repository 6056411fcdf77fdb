"""The level trend of a rig, with its faults as marks."""

from __future__ import annotations

from labkit.rig import RigView
from labkit.trend import Mark, Tank, level_svg

__all__ = ["level_picture"]


def level_picture(view: RigView) -> str:
    """Return the level trend of a rig as SVG text.

    Parameters
    ----------
    view : RigView
        State of the rig.

    Returns
    -------
    str
        Empty for a plant without a tank.

    Examples
    --------
    >>> from labkit.rig import Rig
    >>> level_picture(Rig().view()).count("<svg")
    1
    """
    if view.trend is None or view.tank is None:
        return ""
    tank = Tank(view.tank.set_point_m, view.tank.overflow_m, view.tank.low_trip_m)
    marks = [
        Mark(entry.time_ms / 1000, entry.who if entry.new == "on" else f"{entry.who} over")
        for entry in view.record if entry.what == "fault"
    ]
    return level_svg(view.trend.time_s, view.trend.level_m, tank, opening=view.trend.opening,
                     inflow_l_per_s=view.trend.inflow_l_per_s[-1], marks=marks)
