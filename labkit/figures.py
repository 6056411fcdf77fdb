"""Still pictures for lectures and lessons: one function for each thing that is drawn.

Every `plot_` function draws one model on `ax` and returns it; it neither shows nor sets anything
outside the axes. Lines differ by style and marker, areas by hatching, so that nothing is told by
colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from labkit.look import PAGE
from labkit.markov import MarkovModel
from labkit.plant import PlantState
from labkit.process import TankSettings
from labkit.rig import Rig, Trend
from labkit.roles import Entry

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "plot_histories", "plot_level", "plot_next_failures", "plot_survival", "plot_takeover",
    "plot_unavailability",
]

HOURS_PER_YEAR = 8760.0
# On a picture of this size 18 pt can be read from the last row.
SIZE_IN = (16.0, 9.0)
TYPE_PT = 18.0
SMALL = 0.62

INK, QUIET, GRID, CURVE, SECOND, FAULT, GOOD = (
    PAGE[name][0] for name in ("ink", "quiet", "rule", "curve", "curve-2", "fault", "good")
)

# What a row of a takeover shows, in the order of the key: colour and hatching.
ROLES = {
    "active": (GOOD, ""), "standby": ("#ffffff", ""), "loading": ("#ffffff", ".."),
    "stopped": (GRID, "xx"), "off": (GRID, "//"),
    "written": (CURVE, ""), "held": ("#ffd43b", "\\\\"), "fail state": (FAULT, "xx"),
}


def _axes(ax: Axes | None, title: str, x_label: str, y_label: str) -> Axes:
    """Return axes with title, labels, grid and sizes; new ones where none are given."""
    if ax is None:
        import matplotlib.pyplot as plt

        _, ax = plt.subplots(figsize=(SIZE_IN[0] * SMALL, SIZE_IN[1] * SMALL),
                             layout="constrained")
    size = TYPE_PT * ax.figure.get_figwidth() / SIZE_IN[0]
    ax.set_title(title, fontsize=1.15 * size, loc="left", color=INK)
    ax.set_xlabel(x_label, fontsize=size, color=INK)
    ax.set_ylabel(y_label, fontsize=size, color=INK)
    ax.tick_params(labelsize=size, colors=INK)
    ax.grid(True, color=GRID, linewidth=0.8, alpha=0.6)
    ax.set_axisbelow(True)
    for side, spine in ax.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(INK)
    return ax


def _type_size(ax: Axes) -> float:
    return TYPE_PT * ax.figure.get_figwidth() / SIZE_IN[0]


def plot_survival(mtbf_h: float, ax: Axes | None = None) -> Axes:
    """Draw the share of parts that have not failed yet, over three times the MTBF.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between failures, > 0, in h.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When `mtbf_h` is not positive and finite.

    Notes
    -----
    Constant failure rate, no repair: R(t) = exp(-t / MTBF).

    Examples
    --------
    >>> plot_survival(60_000).get_ylabel()
    'not failed yet [%]'
    """
    if not 0 < mtbf_h < float("inf"):
        raise ValueError(f"mtbf_h must be > 0 and finite, got {mtbf_h}")
    ax = _axes(ax, f"What an MTBF of {mtbf_h:,.0f} h promises", "time [years]",
               "not failed yet [%]")
    time_h = np.linspace(0, 3 * mtbf_h, 301)
    ax.plot(time_h / HOURS_PER_YEAR, 100 * np.exp(-time_h / mtbf_h), color=CURVE, linewidth=3)
    for at_h, words, marker in ((HOURS_PER_YEAR, "after one year", "o"),
                                (mtbf_h, "at the MTBF", "s")):
        share = 100 * float(np.exp(-at_h / mtbf_h))
        ax.plot([at_h / HOURS_PER_YEAR], [share], marker, color=INK, markersize=9)
        ax.annotate(f"{words}: {share:.1f} %", (at_h / HOURS_PER_YEAR, share),
                    xytext=(12, 8), textcoords="offset points", fontsize=_type_size(ax),
                    color=INK)
    ax.set_xlim(0, 3 * mtbf_h / HOURS_PER_YEAR)
    ax.set_ylim(0, 105)
    return ax


def plot_histories(parts: Mapping[str, tuple[float, float]], duration_h: float, *, seed: int = 1,
                   ax: Axes | None = None) -> Axes:
    """Draw a drawn history of up and down for each of several parts.

    Parameters
    ----------
    parts : mapping of str to (float, float)
        Name to MTBF and MTTR, each > 0, in h.
    duration_h : float
        How long, > 0, in h.
    seed : int
        Seed of the random numbers.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When there is no part, or a time is not positive.

    Examples
    --------
    >>> ax = plot_histories({"rare and long": (9900, 100), "often and short": (99, 1)}, 8760)
    >>> [label.get_text() for label in ax.get_yticklabels()]
    ['rare and long', 'often and short']
    """
    if not parts:
        raise ValueError("parts must hold at least one part, got none")
    if not duration_h > 0:
        raise ValueError(f"duration_h must be > 0, got {duration_h}")
    ax = _axes(ax, "Up and down, drawn by chance", "time [h]", "")
    random = np.random.default_rng(seed)
    for row, (name, (mtbf_h, mttr_h)) in enumerate(parts.items()):
        if not (mtbf_h > 0 and mttr_h > 0):
            raise ValueError(f"MTBF and MTTR of {name} must be > 0, got {mtbf_h} and {mttr_h}")
        downs = []
        now = random.exponential(mtbf_h)
        while now < duration_h:
            down = random.exponential(mttr_h)
            downs.append((now, min(down, duration_h - now)))
            now += down + random.exponential(mtbf_h)
        ax.broken_barh([(0, duration_h)], (row - 0.3, 0.6), facecolor="#ffffff", edgecolor=INK)
        ax.broken_barh(downs, (row - 0.3, 0.6), facecolor=FAULT, edgecolor=FAULT, hatch="xx")
        lost = sum(length for _, length in downs) / duration_h
        ax.text(duration_h, row + 0.42,
                f"{len(downs)} {'stop' if len(downs) == 1 else 'stops'}, "
                f"down {100 * lost:.2f} % of the time",
                ha="right", va="center", fontsize=_type_size(ax), color=INK)
    ax.set_yticks(range(len(parts)), list(parts))
    ax.set_ylim(len(parts) - 0.4, -0.6)
    ax.set_xlim(0, duration_h)
    ax.grid(False, axis="y")
    return ax


def plot_unavailability(model: MarkovModel, duration_h: float, ax: Axes | None = None) -> Axes:
    """Draw the chance that a chain is down, in time, beside its long run.

    Parameters
    ----------
    model : MarkovModel
        The chain, starting in its start state.
    duration_h : float
        How long, > 0, in h.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When `duration_h` is not positive.

    Examples
    --------
    >>> from labkit.markov import two_state
    >>> plot_unavailability(two_state(60_000, 4), 24).get_ylabel()
    'unavailability U [-]'
    """
    if not duration_h > 0:
        raise ValueError(f"duration_h must be > 0, got {duration_h}")
    ax = _axes(ax, "When does the long run begin?", "time [h]", "unavailability U [-]")
    time_h = np.linspace(0, duration_h, 121)
    ax.plot(time_h, model.unavailability_at(time_h), color=CURVE, linewidth=3, label="in time")
    ax.axhline(model.unavailability, color=INK, linewidth=2, linestyle="--",
               label=f"long run {model.unavailability:.3e}")
    ax.set_xlim(0, duration_h)
    ax.set_ylim(0, 1.15 * model.unavailability)
    ax.ticklabel_format(axis="y", style="sci", scilimits=(-2, 3))
    ax.yaxis.get_offset_text().set_fontsize(_type_size(ax))
    ax.legend(fontsize=_type_size(ax), frameon=False, loc="lower right")
    return ax


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


def plot_takeover(rig: Rig, start_ms: int, end_ms: int, ax: Axes | None = None) -> Axes:
    """Draw the roles of the controllers and the outputs of the racks side by side in time.

    Parameters
    ----------
    rig : Rig
        The rig, after what is to be shown.
    start_ms, end_ms : int
        First and last moment, 0 <= start < end, in ms.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

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
    ax = _axes(ax, "A takeover in time", "time [ms]", "")
    snapshot = rig.snapshot()
    rows = [(unit, "role", role.value) for unit, role in snapshot.roles.items()]
    rows += [(rack, "outputs", state.value) for rack, state in snapshot.outputs.items()]
    size = _type_size(ax)
    for row, (who, what, present) in enumerate(rows):
        for begin, end, state in _spans(rig.record, who, what, present, start_ms, end_ms):
            colour, hatch = ROLES[state]
            ax.broken_barh([(begin, end - begin)], (row - 0.36, 0.72), facecolor=colour,
                           edgecolor=INK, hatch=hatch)
            if end - begin > 0.02 * len(state) * (end_ms - start_ms):
                ax.text((begin + end) / 2, row, state, ha="center", va="center", fontsize=size,
                        color=INK, bbox={"facecolor": "#ffffff", "edgecolor": "none", "pad": 2})
    for entry in rig.record:
        if entry.what == "fault" and start_ms <= entry.time_ms <= end_ms:
            ax.axvline(entry.time_ms, color=FAULT, linewidth=2.5, linestyle="--")
            words = entry.who if entry.new == "on" else f"{entry.who} over"
            ax.text(entry.time_ms, -0.5, f" {words}", ha="left", va="bottom", fontsize=size,
                    color=FAULT)
    ax.set_yticks(range(len(rows)), [f"{who} {what}" for who, what, _ in rows])
    ax.set_ylim(len(rows) - 0.4, -1.0)
    ax.set_xlim(start_ms, end_ms)
    ax.grid(False, axis="y")
    return ax


def plot_level(trend: Trend, tank: TankSettings, ax: Axes | None = None) -> Axes:
    """Draw the level of the header tank in time with its limits.

    Parameters
    ----------
    trend : Trend
        Course of the process.
    tank : TankSettings
        Constants of the tank.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Examples
    --------
    >>> rig = Rig()
    >>> rig.wait(5)
    >>> plot_level(rig.trend(), rig.view().tank).get_ylabel()
    'level [m]'
    """
    ax = _axes(ax, "Level of the header tank", "time [s]", "level [m]")
    ax.plot(trend.time_s, trend.level_m, color=CURVE, linewidth=3, label="level")
    for level_m, words, style in ((tank.overflow_m, "overflow", "--"),
                                  (tank.set_point_m, "set-point", ":"),
                                  (tank.low_trip_m, "low trip", "-.")):
        ax.axhline(level_m, color=FAULT if words != "set-point" else INK, linewidth=2,
                   linestyle=style, label=f"{words} {level_m:.2f} m")
    span = tank.overflow_m - tank.low_trip_m
    ax.set_ylim(tank.low_trip_m - 0.15 * span, tank.overflow_m + 0.15 * span)
    ax.set_xlim(0, max(float(trend.time_s[-1]), 1.0))
    ax.legend(fontsize=_type_size(ax), loc="center left", framealpha=1.0)
    return ax


def plot_next_failures(state: PlantState, function: str, ax: Axes | None = None) -> Axes:
    """Draw how often each single failure would stop a function now.

    Parameters
    ----------
    state : PlantState
        What is left of the plant.
    function : str
        Name of the function.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When the plant has no such function, or nothing alone would stop it.

    Examples
    --------
    >>> from labkit.plant import load_plant
    >>> ax = plot_next_failures(load_plant().state({"KF1"}), "control kept")
    >>> ax.get_yticklabels()[0].get_text()
    'KF2'
    """
    if function not in state.works:
        raise ValueError(f"function must be one of {', '.join(state.works)}, got {function!r}")
    failures = state.next_failure_details[function]
    if not failures:
        raise ValueError(f"function must have failures that would stop it next, got {function!r}")
    ax = _axes(ax, f"What would stop it next: {function}", "failures a year", "")
    rates = [HOURS_PER_YEAR * failure.rate_per_h for failure in failures]
    bars = ax.barh(range(len(rates)), rates, color=CURVE, edgecolor=INK, height=0.7)
    ax.bar_label(bars, [f" {rate:.3f}" for rate in rates], fontsize=_type_size(ax), color=INK)
    ax.set_yticks(range(len(rates)), [failure.name for failure in failures])
    ax.set_ylim(len(rates) - 0.4, -0.6)
    ax.set_xlim(0, 1.15 * max(rates))
    ax.grid(False, axis="y")
    return ax
