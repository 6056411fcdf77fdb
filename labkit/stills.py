"""The pictures of the folder `figures/`, each with its words: made by command, never by hand.

PNG files are 1600 by 900 points with type of at least 18 pt; SVG files beside them can be scaled.
The same code gives the same files.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from labkit.figures import (
    HOURS_PER_YEAR,
    SIZE_IN,
    plot_histories,
    plot_level,
    plot_next_failures,
    plot_survival,
    plot_takeover,
    plot_unavailability,
)
from labkit.markov import two_state
from labkit.plant import load_plant
from labkit.poster import main_panel_svg
from labkit.rig import Rig

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Still", "stills", "write_figures"]

DOTS_PER_INCH = 100


@dataclass(frozen=True, eq=False)
class Still:
    """Hold a picture of the folder `figures/`.

    Parameters
    ----------
    draw : callable
        Draws it on axes.
    alternative : str
        What it shows, for those who do not see it: at most 60 words.
    caption : str
        The sentence below it.

    Examples
    --------
    >>> len(stills()["survival"].alternative.split()) <= 60
    True
    """

    draw: Callable[[Axes], Axes]
    alternative: str
    caption: str


def _power_cut(wait_s: float) -> Rig:
    rig = Rig()
    rig.wait(1)
    rig.switch_on("KF1: no power")
    rig.wait(wait_s)
    return rig


def _local_shut() -> Rig:
    rig = Rig()
    rig.wait(5)
    rig.switch_on("QM1: shut locally")
    rig.wait(25)
    return rig


def stills() -> dict[str, Still]:
    """Return the pictures of the folder `figures/`, each with its words.

    Returns
    -------
    dict of str to Still
        By the name of its files.

    Examples
    --------
    >>> sorted(stills())[:2]
    ['histories', 'level_shut_valve']
    """
    cut, shut = _power_cut(1.0), _local_shut()
    roles = [e.time_ms for e in cut.record if e.what == "role" and e.new == "active"]
    gap_ms = next(e.time_ms for e in cut.record
                  if e.what == "outputs" and e.new == "written") - 1000
    one_year, one_mtbf = (100 * float(np.exp(-h / 60_000)) for h in (HOURS_PER_YEAR, 60_000))
    part = two_state(60_000, 4)
    plant = load_plant()
    single, pair = plant.state({"KF1"}), plant.state(())
    top = single.next_failure_details["control kept"][0]
    overflow_s = next(t for t, level in zip(shut.trend().time_s, shut.trend().level_m)
                      if level >= shut.view().tank.overflow_m) - 5
    return {
        "survival": Still(
            lambda ax: plot_survival(60_000, ax),
            f"Line chart: share of parts not failed yet [%] over time [years], MTBF 60 000 h. The "
            f"curve falls from 100 %: {one_year:.1f} % are left after one year and "
            f"{one_mtbf:.1f} % at the MTBF, after {60_000 / HOURS_PER_YEAR:.1f} years. It never "
            "reaches zero.",
            "An MTBF is a failure rate turned over, and no lifetime."),
        "histories": Still(
            lambda ax: plot_histories(
                {"rare and long": (990, 10), "often and short": (99, 1)}, 8760, seed=1, ax=ax),
            "Two rows of bars over one year [h]: a part that fails rarely and stays down long, and "
            "one that fails often and stays down shortly. Both are down about 1 % of the time; "
            "the number of stops differs about tenfold.",
            "One availability, two very different years."),
        "two_states_in_time": Still(
            lambda ax: plot_unavailability(part, 24, ax),
            f"Line chart: unavailability over time [h] of a part with MTBF 60 000 h and MTTR 4 h. "
            f"It rises from zero and has reached the dashed line of the long run, "
            f"{part.unavailability:.3e}, after about 20 h.",
            "The long run begins after a few repair times, not after years."),
        "takeover": Still(
            lambda ax: plot_takeover(cut, 900, 1500, ax),
            f"Rows of bars over time [ms]: roles of KF1 and KF2 and outputs of three racks. At "
            f"1000 ms KF1 loses its power and is off. KF2 is standby until {roles[-1]} ms, then "
            f"active. The outputs are held for {gap_ms} ms and then written again.",
            "Between the loss of power and the first new write the racks hold their outputs."),
        "level_shut_valve": Still(
            lambda ax: plot_level(shut.trend(), shut.view().tank, ax),
            f"Line chart: level of the header tank [m] over time [s]. It stands at 1.20 m until "
            f"the outlet is shut at 5 s, rises in a straight line and reaches the overflow at "
            f"1.44 m after {overflow_s:.0f} s. The low trip at 0.60 m is not touched.",
            "All lamps are as ever, and the tank overflows within seconds."),
        "next_failures": Still(
            lambda ax: plot_next_failures(single, "control kept", ax),
            f"Bar chart: failures a year of everything that would stop control next while KF1 is "
            f"broken. {top.name} leads with {HOURS_PER_YEAR * top.rate_per_h:.3f} a year. In all "
            f"{HOURS_PER_YEAR * single.failures_per_h['control kept']:.2f} outages a year, "
            f"{HOURS_PER_YEAR * pair.failures_per_h['control kept']:.2f} with both units whole.",
            "With one controller out, the other one is the weakest point."),
    }


def write_figures(folder: str | Path, names: Sequence[str] | None = None) -> list[Path]:
    """Write all pictures as PNG (1600 by 900) and SVG, and their words beside them.

    Parameters
    ----------
    folder : str or path
        Where to; it is made where it is not there.
    names : sequence of str, optional
        Which; all of them where it is left out. Only then the words are written too.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    ValueError
        When there is no picture of such a name.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_figures(folder, ["takeover"])]
    ['takeover.png', 'takeover.svg']
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    drawn = stills()
    known = ["main_panel", *drawn]
    unknown = sorted(set(names or ()) - set(known))
    if unknown:
        raise ValueError(f"names must be of {', '.join(known)}, got {unknown[0]!r}")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    svg, alternative = main_panel_svg(_power_cut(29.0).view())
    words = {"main_panel": (alternative, "The main panel, 29 s after the power of KF1 was cut.")}
    words |= {name: (still.alternative, still.caption) for name, still in drawn.items()}
    if names is None or "main_panel" in names:
        files.append(folder / "main_panel.svg")
        files[-1].write_text(svg, encoding="utf-8", newline="\n")
    for name in drawn if names is None else [n for n in drawn if n in names]:
        figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_INCH, layout="constrained")
        FigureCanvasAgg(figure)
        drawn[name].draw(figure.add_subplot())
        for kind, extra in (("png", {"Software": None}), ("svg", {"Date": None})):
            files.append(folder / f"{name}.{kind}")
            _save(figure, files[-1], kind, extra)
    if names is None:
        files.append(folder / "words.md")
        files[-1].write_text(
            "# What the pictures show\n\nMade by a command; all plant data are invented.\n"
            + "".join(f"\n## {name}\n\n{caption}\n\n*In words:* {said}\n"
                      for name, (said, caption) in words.items()),
            encoding="utf-8", newline="\n")
    return files


def _save(figure, file: Path, kind: str, metadata: dict) -> None:
    """Save a figure so that the same figure gives the same file."""
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "labkit", "svg.fonttype": "none"}):
        figure.savefig(file, format=kind, metadata=metadata)
