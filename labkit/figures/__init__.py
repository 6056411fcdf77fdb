"""Still pictures for lectures and lessons: one function for each thing that is drawn.

Every `plot_` function draws one model on `ax` and returns it; it neither shows nor sets anything
outside the axes. Lines differ by style and marker, areas by hatching, so that nothing is told by
colour alone. On a dark paper (`labkit.figures.paper.sheet`) the colours are those of the dark
theme.
"""

from labkit.figures.classes import plot_class
from labkit.figures.evidence import plot_dead_standby, plot_mtbf_limits
from labkit.figures.parts import plot_histories, plot_survival, plot_unavailability
from labkit.figures.takeovers import plot_levels, plot_takeover, plot_time_outs
from labkit.figures.tornado import plot_tornado
from labkit.figures.weights import plot_flaws, plot_next_failures, plot_variants
from labkit.figures.year import plot_year

__all__ = [
    "plot_class", "plot_dead_standby", "plot_flaws", "plot_histories", "plot_levels",
    "plot_mtbf_limits", "plot_next_failures", "plot_survival", "plot_takeover", "plot_time_outs",
    "plot_tornado", "plot_unavailability", "plot_variants", "plot_year",
]
