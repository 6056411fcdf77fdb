"""Parts and blocks: availability, outages, cut sets and importance, exact with shared parts.

Conditions of the models here: the parts fail and are restored independently of each other, at
constant rates, each with its own repair crew; the diagram is in its long run. A part that stands
in several places is one part. What depends on each other (a pair with one crew, a latent fault)
is a chain: `Chain` puts a Markov model into a diagram as one variable.

Every figure is counted without subtraction: an unavailability of 1e-15 has as many right digits
as one of 0.1. Nothing is rounded to 0 or 1 on the way; what falls below about 1e-308 is 0.

References
----------
IEC 60050-192:2015, International electrotechnical vocabulary, Dependability.
M. Rausand, A. Hoyland, "System Reliability Theory", 2nd ed., Wiley 2004, chapters 3 to 5.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from labkit import arguments
from labkit.availability.blocks import ALWAYS_WORKS, Block, Gate, checked_name, checked_names
from labkit.availability.diagram import FAILED, WORKS
from labkit.availability.structure import Variable


@dataclass(frozen=True)
class Part(Block):
    """Describe a part that fails and is restored at constant rates, independent of all others.

    Parameters
    ----------
    name : str
        One name, one part: blocks with the same name and the same numbers are the same part.
    mtbf_h : float
        Mean operating time between failures in hours, > 0 and finite.
    mttr_h : float
        Mean time to restoration in hours, > 0 and finite.

    Raises
    ------
    TypeError, ValueError
        If the name is not text or empty, if a time is not a number, not > 0 or not finite.

    Notes
    -----
    U = MTTR / (MTBF + MTTR), A = MTBF / (MTBF + MTTR), failures per hour 1 / (MTBF + MTTR).

    References
    ----------
    IEC 60050-192:2015: 192-05-13 (mean operating time between failures), 192-07-23 (mean time
    to restoration).

    Examples
    --------
    >>> supply = Part("24 V supply", mtbf_h=500_000, mttr_h=4)
    >>> f"{supply.availability:.6f}, {supply.downtime_h_per_year * 60:.1f} min per year"
    '0.999992, 4.2 min per year'
    """

    name: str
    mtbf_h: float = field(kw_only=True)
    mttr_h: float = field(kw_only=True)

    _condition, _units = None, frozenset()

    def __post_init__(self):
        checked_name("name", self.name)
        arguments.read_fields(self, arguments.positive, "mtbf_h", "mttr_h")

    @property
    def failure_rate_per_h(self) -> float:
        """Give the failure rate while working, 1 / MTBF, per hour."""
        return 1.0 / self.mtbf_h

    @property
    def restoration_rate_per_h(self) -> float:
        """Give the restoration rate while down, 1 / MTTR, per hour."""
        return 1.0 / self.mttr_h

    @property
    def _members(self) -> dict:
        return {self.name: self}

    def _variable(self, conditions: list) -> Variable:
        whole_h = self.mtbf_h + self.mttr_h
        return Variable(
            name=self.name,
            better=((), (0,)),
            chances=(self.mtbf_h / whole_h, self.mttr_h / whole_h),
            flows=((0, 1, 1.0 / whole_h),),
            labels=(None, self.name),
            ends={None: (WORKS, FAILED)},
            mtbf_h=self.mtbf_h,
            course=self._course,
            fastest_h=1.0 / (self.failure_rate_per_h + self.restoration_rate_per_h),
        )

    def _course(self, t_h: np.ndarray) -> tuple:
        whole_h = self.mtbf_h + self.mttr_h
        spent = t_h * (self.failure_rate_per_h + self.restoration_rate_per_h)
        works = self.mtbf_h / whole_h + self.mttr_h / whole_h * np.exp(-spent)
        failed = self.mttr_h / whole_h * -np.expm1(-spent)
        return (works, failed), ((0, 1, works / self.mtbf_h),)



@dataclass(frozen=True, eq=False)
class Chain:
    """Put a Markov model into a diagram as one variable with several states.

    The chain itself is no block; `when` gives the block that works while the chain is in some of
    its states. The same chain may stand in several places with different states: it remains one
    variable, exactly.

    Parameters
    ----------
    name : str
    model : MarkovModel, or any object of that shape
        With `states` (a sequence), `steady_state()` (their long-run probabilities) and
        `generator` (rates per hour from row to column).
    units : iterable of str, optional
        Names of the parts that the chain stands for. They must not stand in the same diagram
        as parts too, since they would count twice.

    Raises
    ------
    TypeError, ValueError
        If the name is not text or empty, or the model lacks what is needed.

    Notes
    -----
    Two chains are the same if they have the same name and the same model object.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> rates = np.array([[-0.02, 0.02, 0.0], [0.1, -0.11, 0.01], [0.0, 0.1, -0.1]])
    >>> model = SimpleNamespace(
    ...     states=("both good", "one failed", "both failed"), generator=rates,
    ...     steady_state=lambda: np.array([50, 10, 1]) / 61)
    >>> pair = Chain("pair", model)
    >>> block = pair.when({"both good", "one failed"})
    >>> f"{block.unavailability:.6f} {block.failures_per_h:.8f}"
    '0.016393 0.00163934'
    """

    name: str
    model: object
    units: frozenset[str] = frozenset()

    def __post_init__(self):
        checked_name("name", self.name)
        for needed in ("states", "steady_state", "generator"):
            if not hasattr(self.model, needed):
                raise TypeError(f"model must have {needed}, got {self.model!r}")
        object.__setattr__(self, "units", checked_names("units", self.units))
        if self.name in self.units:
            raise ValueError(f"name must differ from the units, got {self.name!r}")

    def __eq__(self, other) -> bool:
        if not isinstance(other, Chain):
            return NotImplemented
        return self.name == other.name and self.model is other.model and self.units == other.units

    def __hash__(self) -> int:
        return hash((self.name, id(self.model)))

    @property
    def _units(self) -> frozenset[str]:
        return self.units

    def _variable(self, conditions: list[frozenset]) -> Variable:
        states = tuple(self.model.states)
        # Class = which of the conditions hold. All and none come first and last, met or not.
        places: dict[frozenset, list[int]] = {frozenset(conditions): [], frozenset(): []}
        for place, state in enumerate(states):
            holds = frozenset(one for one in conditions if state in one)
            places.setdefault(holds, []).append(place)
        classes = sorted(places, key=len, reverse=True)

        member = np.zeros((len(states), len(classes)))
        for number, holds in enumerate(classes):
            member[places[holds], number] = 1.0
        chances = np.asarray(self.model.steady_state(), dtype=float)
        # Only entries from one class to another are used; these are rates, none negative.
        to_class = self.model.generator @ member
        flows = (member * chances[:, None]).T @ to_class

        def label(holds: frozenset) -> str | None:
            if not places[holds] or len(conditions) == 1:
                return self.name if places[holds] else None
            return f"{self.name}: {' or '.join(str(states[place]) for place in places[holds])}"

        return Variable(
            name=self.name,
            better=tuple(
                tuple(number for number, more in enumerate(classes) if more > holds)
                for holds in classes
            ),
            chances=tuple(math.fsum(chances[places[holds]]) for holds in classes),
            flows=tuple(
                (start, to, float(flow))
                for (start, to), flow in np.ndenumerate(flows)
                if start != to and flow > 0.0
            ),
            labels=tuple(map(label, classes)),
            ends={
                one: tuple(WORKS if one in holds else FAILED for holds in classes)
                for one in conditions
            },
            mtbf_h=None,
            course=partial(_chain_course, self.model, member, to_class),
            fastest_h=1.0 / max(-float(self.model.generator.diagonal().min()), 1e-300),
        )

    def when(self, states: Iterable) -> Block:
        """Give the block that works while the chain is in one of these states.

        Parameters
        ----------
        states : iterable of states of the model, at least one
            All states of the model give `ALWAYS_WORKS`.

        Raises
        ------
        TypeError, ValueError
            If `states` is a single text, empty, or names a state that the model does not have.
        """
        if isinstance(states, str) or not isinstance(states, Iterable):
            raise TypeError(f"states must be a set of states, got {states!r}")
        wanted = frozenset(states)
        known = tuple(self.model.states)
        if not wanted:
            raise ValueError("states must hold at least one state, got none")
        unknown = sorted(map(repr, wanted - set(known)))
        if unknown:
            raise ValueError(f"states must be states of {self.name!r} {known!r}, got {unknown[0]}")
        return ALWAYS_WORKS if len(wanted) == len(known) else _When(self, wanted)


def _chain_course(model, member: np.ndarray, to_class: np.ndarray, t_h: np.ndarray) -> tuple:
    rows = np.reshape(model.probabilities(t_h.ravel()), (*t_h.shape, len(member)))
    changes = np.einsum("...i,ic,id->cd...", rows, member, to_class)
    flows = [(start, to, changes[start, to]) for start, to in np.ndindex(changes.shape[:2])
             if start != to]
    return tuple(np.moveaxis(rows @ member, -1, 0)), flows


@dataclass(frozen=True)
class _When(Block):
    chain: Chain
    states: frozenset

    def __repr__(self) -> str:
        states = ", ".join(repr(one) for one in self.chain.model.states if one in self.states)
        return f"Chain({self.chain.name!r}).when({{{states}}})"

    @property
    def _members(self) -> dict:
        return {self.chain.name: self.chain}

    @property
    def _condition(self) -> frozenset:
        return self.states



def series(*blocks: Block) -> Block:
    """Give the block that works while all of the blocks work.

    Parameters
    ----------
    *blocks : Block
        At least one. A part may stand in several of them.

    Raises
    ------
    TypeError, ValueError
        If there is no block, if something else than a block is given, if two different parts
        have one name.

    Examples
    --------
    >>> block = series(Part("a", mtbf_h=9, mttr_h=1), Part("b", mtbf_h=9, mttr_h=1))
    >>> f"{block.availability:.2f} {block.unavailability:.2f} {block.failures_per_h:.2f}"
    '0.81 0.19 0.18'
    """
    return Gate(len(blocks), blocks)


def parallel(*blocks: Block) -> Block:
    """Give the block that works while at least one of the blocks works.

    Parameters
    ----------
    *blocks : Block
        At least one. A part may stand in several of them.

    Raises
    ------
    TypeError, ValueError
        As for `series`.

    Examples
    --------
    >>> block = parallel(Part("a", mtbf_h=9, mttr_h=1), Part("b", mtbf_h=9, mttr_h=1))
    >>> f"{block.unavailability:.2f} {block.mean_down_time_h:.2f}"
    '0.01 0.50'
    """
    return Gate(1, blocks)


def at_least(k: int, *blocks: Block) -> Block:
    """Give the block that works while at least `k` of the blocks work.

    Parameters
    ----------
    k : int
        From 1 (parallel) to the number of blocks (series).
    *blocks : Block
        At least one. A block that is given twice counts twice.

    Raises
    ------
    TypeError, ValueError
        As for `series`, and if `k` is not a whole number from 1 to the number of blocks.

    Examples
    --------
    >>> sensors = [Part(name, mtbf_h=9, mttr_h=1) for name in ("B1", "B2", "B3")]
    >>> f"{at_least(2, *sensors).unavailability:.3f}"
    '0.028'
    """
    needed = arguments.count("k", k, least=1)
    if needed > len(blocks) > 0:
        raise ValueError(f"k must be from 1 to the number of blocks, {len(blocks)}, got {k}")
    return Gate(needed, blocks)
