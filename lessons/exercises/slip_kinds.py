"""What a slip is: its value, its rank, and the words for it out of the table of kinds.

=========== ========================================================================
rank        holds
=========== ========================================================================
``COMMON``  a step left out, turned over, taken for the end; the other part of the whole
``SINGLE``  twice, one for another, sign, power, count, brackets, another constant
``EXTRA``   one quantity more, two quantities alone, a factor such as 24 too much or too little
``DOUBLE``  two of the above; what only one who answers in smaller units does
=========== ========================================================================
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.formulas import NOTHING, Call, Fixed, Node, Quantified, Spoken, quantities_in
from lessons.exercises.quantities import Unit, unit

COMMON, SINGLE, EXTRA, DOUBLE = 1, 2, 3, 4
KINDS = tomllib.loads(Path(__file__).with_name("slip_kinds.toml").read_text("utf-8"))
"""Entry in the register, rank, words and question of each kind of slip."""
YEAR = Fixed(HOURS_PER_YEAR)
BOUNDS = ("bound_", "limit_")
"""How names of quantities begin that the result is compared with: nobody works with them."""


@dataclass(frozen=True, eq=False)
class Hit:
    """A slip that an answer may come from, and what to say of it.

    Parameters
    ----------
    id : str
        Kind and quantities, the same for all numbers.
    entry : str or None
        Identifier in the register.
    does, asks : str
        Templates: what stands after the learner's number, and the question after that.
    question : str
        Template of all that is said, where it is a mark.
    """

    id: str
    entry: str | None
    does: str
    asks: str
    question: str = ""


@dataclass(frozen=True, eq=False)
class Slip(Hit):
    """One way to go astray in a formula.

    Parameters
    ----------
    rank : int
        One of :data:`COMMON`, :data:`SINGLE`, :data:`EXTRA`, :data:`DOUBLE`.
    tree : Node
        The formula as it is worked with the slip.
    """

    rank: int = field(kw_only=True)
    tree: Node = field(kw_only=True)


def key_of(part: Node) -> str:
    """Return what stands for a part in the id of a slip."""
    match part:
        case Quantified(name):
            return name
        case Fixed(value):
            return f"{value:g}"
    names = ", ".join(quantities_in(part))
    kind = part.function if isinstance(part, Call) else type(part).__name__.lower()
    return f"{kind} of {names}" if names else kind


class SlipMaker:
    """Make slips of one formula, and say them."""

    def __init__(self, tree: Node, own: Unit | str, names: Spoken, givens: Sequence[str] = (),
                 shares: Sequence[str] = (), lines: Sequence[str] = (),
                 sample: Mapping[str, object] = NOTHING) -> None:
        self.tree, self.names, self.sample = tree, names, sample
        self.own = unit(own) if isinstance(own, str) else own
        self.givens, self.shares, self.lines = tuple(givens), set(shares), tuple(lines)

    def _slip(self, kind: str, tree: Node, *parts: Node | str, key: str | None = None, called: str = "",
              **places: bool) -> Slip:
        """Return a slip of a kind in some parts, which are nodes or the words for them.

        Its id is what it is called, else its kind, with the keys of the parts. What the table of
        kinds says of a place is laid over the row where that holds.
        """
        row = dict(KINDS[kind])
        for place in (place for place, holds in places.items() if holds):
            row |= row.get(place, {})
        said = (part if isinstance(part, str) else self.names.spoken(part) for part in parts)
        words = dict(zip(("said", "other"), said, strict=False))
        if key is None:
            key = ", ".join(key_of(part) for part in parts if isinstance(part, Node))
        does = row.get("does") or f"comes out {row['comes_out']}"
        return Slip(f"{called or kind}{': ' if key else ''}{key}", row["entry"], does.format(**words),
                    row["asks"].format(**words), rank=row["rank"], tree=tree)

    def _alike(self, one: str, other: str) -> bool:
        first, second = self.names.unit_of(one), self.names.unit_of(other)
        if (one in self.shares) != (other in self.shares):
            return False
        if first is None or second is None:
            return first is second
        return first.kind == second.kind

    def _converted(self, name: str, like: str) -> Node:
        have, want = self.names.unit_of(name), self.names.unit_of(like)
        ratio = have.factor / want.factor if have else 1.0
        return Quantified(name) * ratio


def counted_in(own: Unit) -> str:
    """Return the symbol of what a unit counts, in a year or at once."""
    return own.text.partition("/")[0]


def comparable(one: Unit, other: Unit) -> bool:
    """Return whether one may be taken for the other: of one kind, or a time and a time a year."""
    return one.kind == other.kind or {one.kind, other.kind} == {("time", ""), ("time", "time")}


def ratio_of(have: Unit, want: Unit) -> float:
    """Return the factor between two units; a time is a time a year where that is asked."""
    yearly = {("time", ""): 1.0, ("time", "time"): HOURS_PER_YEAR}
    if have.kind == want.kind:
        return have.factor / want.factor
    return have.factor * yearly[have.kind] / (want.factor * yearly[want.kind])
