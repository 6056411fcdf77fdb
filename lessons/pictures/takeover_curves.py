"""Pictures of a takeover: roles and outputs in time, the level of the tank, the time-out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from labkit.rig.rig import Rig, Trend
from labkit.rig.tank import TankSettings
from labkit.switchover.clocks import Channel
from labkit.switchover.roles import Entry
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import false_trips_by_beats, how_often
from lessons.pictures.page import axes, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_levels", "plot_takeover", "plot_time_outs"]

# Colour and hatching of each state in a row.
_STATES = MappingProxyType({
    "active": ("good", ""), "standby": ("paper", ""), "loading": ("paper", ".."),
    "stopped": ("grid", "xx"), "off": ("grid", "//"),
    "one writer": ("water", ""), "two writers by turns": ("fault", "xx"),
    "written": ("water", ""), "held": ("paper", "\\\\"), "fail state": ("fault", "xx"),
})
_LINES = (("curve", "-"), ("curve-2", (0, (6, 2))), ("good", (0, (2, 1))))


def _spans(record: Sequence[Entry], who: str, what: str, present: str, start_ms: int,
           end_ms: int) -> list[tuple[int, int, str]]:
    """Return (begin, end, state) of one thing from a record of its changes, in ms."""
    changes = [e for e in record if e.who == who and e.what == what and e.old != e.new]
    spans = []
    begin, state = 0, changes[0].old if changes else present
    for entry in changes:
        spans.append((begin, entry.time_ms, state))
        begin, state = entry.time_ms, entry.new
    spans.append((begin, end_ms, state))
    return [(max(a, start_ms), min(b, end_ms), s) for a, b, s in spans
            if a < b and max(a, start_ms) < min(b, end_ms)]


def plot_takeover(rig: Rig, start_ms: int, end_ms: int, ax: Axes | None = None, *,
                  title: str = "A takeover in time") -> Axes:
    """Draw the roles of the controllers and the outputs of the racks side by side in time.

    Of a rack that two controllers write by turns, this is shown in place of its outputs.

    Parameters
    ----------
    rig : Rig
        The rig, after what is to be shown.
    start_ms, end_ms : int
        First and last moment, 0 <= start < end, in ms.
    ax : Axes, optional
        Where to draw; new axes where it is left out.
    title : str

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When the moments are out of order.

    Examples
    --------
    >>> rig = Rig()
    >>> rig.wait(1)
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(1)
    >>> plot_takeover(rig, 900, 1500).get_xlabel()
    'time [ms]'
    """
    if not 0 <= start_ms < end_ms:
        raise ValueError(
            f"start_ms and end_ms must be 0 <= start_ms < end_ms, got {start_ms} and {end_ms}"
        )
    ax = axes(ax, title, "time [ms]", "")
    ink = inks(ax)
    snapshot = rig.snapshot()
    rows = [(unit, "role", role.value) for unit, role in snapshot.roles.items()]
    fought = {entry.who for entry in rig.record if entry.what == "writes"}
    rows += [(rack, "writes", "one writer") if rack in fought else (rack, "outputs", state.value)
             for rack, state in snapshot.outputs.items()]
    size = type_size(ax)
    for row, (who, what, present) in enumerate(rows):
        for begin, end, state in _spans(rig.record, who, what, present, start_ms, end_ms):
            colour, hatch = _STATES[state]
            ax.broken_barh([(begin, end - begin)], (row - 0.36, 0.72), facecolor=ink[colour],
                           edgecolor=ink["ink"], hatch=hatch)
            if end - begin > 0.02 * len(state) * (end_ms - start_ms):
                ax.text((begin + end) / 2, row, state, ha="center", va="center", fontsize=size,
                        color=ink["ink"],
                        bbox={"facecolor": ink["paper"], "edgecolor": "none", "pad": 3})
    for entry in rig.record:
        if entry.what == "fault" and start_ms <= entry.time_ms <= end_ms:
            ax.axvline(entry.time_ms, color=ink["fault"], linewidth=2.5, linestyle="--")
            words = entry.who if entry.new == "on" else f"{entry.who} over"
            ax.text(entry.time_ms, -0.5, f" {words}", ha="left", va="bottom", fontsize=size,
                    color=ink["fault"])
    ax.set_yticks(range(len(rows)), [f"{who} {what}" for who, what, _ in rows])
    ax.set_ylim(len(rows) - 0.4, -1.0)
    ax.set_xlim(start_ms, end_ms)
    ax.grid(False, axis="y")
    return ax


def plot_levels(trends: Mapping[str, Trend], tank: TankSettings, ax: Axes | None = None, *,
                title: str = "Level of the header tank") -> Axes:
    """Draw the level of the header tank in time with its limits, once or for comparison.

    Parameters
    ----------
    trends : mapping of str to Trend
        Courses of the process by what they are called, at most three.
    tank : TankSettings
        Constants of the tank.
    ax : Axes, optional
        Where to draw; new axes where it is left out.
    title : str

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When there is no course, or there are more than three.

    Examples
    --------
    >>> rig = Rig()
    >>> rig.wait(5)
    >>> plot_levels({"level": rig.trend()}, rig.view().tank).get_ylabel()
    'level [m]'
    """
    if not 1 <= len(trends) <= len(_LINES):
        raise ValueError(f"trends must hold 1 to {len(_LINES)} courses, got {len(trends)}")
    ax = axes(ax, title, "time [s]", "level [m]")
    ink, size = inks(ax), type_size(ax)
    for (words, trend), (colour, style) in zip(trends.items(), _LINES):
        ax.plot(trend.time_s, trend.level_m, color=ink[colour], linewidth=4, linestyle=style,
                label=words)
    last_s = max(1.0, *(float(trend.time_s[-1]) for trend in trends.values()))
    for level_m, words, style in ((tank.overflow_m, "overflow", "--"),
                                  (tank.set_point_m, "set-point", ":"),
                                  (tank.low_trip_m, "low trip", "-.")):
        colour = ink["ink" if words == "set-point" else "fault"]
        ax.axhline(level_m, color=colour, linewidth=2.5, linestyle=style)
        ax.annotate(f"{words} {level_m:.2f} m", (last_s, level_m), xytext=(-6, 5),
                    textcoords="offset points", ha="right", va="bottom", fontsize=size,
                    color=colour)
    span = tank.overflow_m - tank.low_trip_m
    ax.set_ylim(tank.low_trip_m - 0.15 * span, tank.overflow_m + 0.15 * span)
    ax.set_xlim(0, last_s)
    if len(trends) > 1:
        ax.legend(fontsize=size, loc="center right", framealpha=1.0, facecolor=ink["paper"],
                  edgecolor=ink["rule"], labelcolor=ink["ink"])
    return ax


def plot_time_outs(settings: PairSettings, channel: Channel, ax: Axes | None = None) -> Axes:
    """Draw how often a living partner is taken for silent, by the number of missed beats.

    Parameters
    ----------
    settings : PairSettings
        Gives the period of the heartbeat.
    channel : Channel
        How the sync cable loses beats.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Examples
    --------
    >>> ax = plot_time_outs(PairSettings(), Channel(loss=0.01))
    >>> ax.get_xlabel()
    'missed beats until the partner counts as silent'
    """
    rates = [rate for rate in false_trips_by_beats(settings, channel, 6) if rate > 0]
    ax = axes(ax, f"A beat every {settings.heartbeat_ms} ms, {100 * channel.loss:g} % of them lost",
              "missed beats until the partner counts as silent", "false alarms a year")
    ink = inks(ax)
    beats = range(1, len(rates) + 1)
    bars = ax.bar(beats, rates, color=ink["water"], edgecolor=ink["ink"], width=0.6)
    ax.set_yscale("log")
    ax.set_ylim(min(rates) / 30, 30 * max(rates))
    ax.set_xticks(beats)
    longest = [beat * settings.heartbeat_ms + settings.margin_ms for beat in beats]
    ax.bar_label(bars, [f"{how_often(rate)}\nfound in {ms} ms"
                        for rate, ms in zip(rates, longest)],
                 fontsize=type_size(ax), color=ink["ink"], padding=4)
    ax.grid(False, axis="x")
    return ax
