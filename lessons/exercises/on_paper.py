"""What an item asks for on paper: what is ticked, ordered, calculated, written or filled in.

It says what a learner needs in order to answer with a pencil, and nothing of what is right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Form:
    """Hold what stands below a question on paper.

    Parameters
    ----------
    options : tuple of str
        What is ticked or ordered, in the order that the seed gives; the letters a, b, c follow
        from the places.
    places : int
        How many letters are to be written, one after the other; 0 where one option is ticked.
    unit : str or None
        The unit that stands beside a number, empty where the learner writes it; None where no
        number is asked for.
    reason : bool
        Whether a line for "because" follows.
    words : bool
        Whether lines for the learner's own words follow.
    seen : tuple of str
        What is ticked when a run was watched; it comes on a later sheet than the options.
    grid : Grid or None
        A table to fill in.
    bench : tuple of str
        Of a fault drill what may be checked, and what may not be done; its five steps stand below.
    """

    options: tuple[str, ...] = ()
    places: int = 0
    unit: str | None = None
    reason: bool = False
    words: bool = False
    seen: tuple[str, ...] = ()
    grid: Grid | None = None
    bench: tuple[str, ...] = ()


@dataclass(frozen=True)
class Grid:
    """Hold a table: headings, and for each place a text that stands there or a form.

    Parameters
    ----------
    corner : str
        Heading of the column of row names.
    """

    corner: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: Mapping[tuple[str, str], str | Form] = field(default_factory=dict)
