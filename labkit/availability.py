"""Parts and blocks: availability, outages, cut sets and importance, exact with shared parts.

Conditions of the models here: the parts fail and are restored independently of each other, at
constant rates, each with its own repair crew; the diagram is in its long run. A part that stands
in several places is one part. What depends on each other (a pair with one crew, a hidden fault)
is a chain: `Chain` puts a Markov model into a diagram as one variable.

Every figure is counted without subtraction: an unavailability of 1e-15 has as many right digits
as one of 0.1. Nothing is rounded to 0 or 1 on the way; what falls below about 1e-308 is 0.

References
----------
IEC 60050-192:2015, International electrotechnical vocabulary, Dependability.
M. Rausand, A. Hoyland, "System Reliability Theory", 2nd ed., Wiley 2004, chapters 3 to 5.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from numbers import Integral, Real
from types import MappingProxyType

import numpy as np

from labkit.diagram import FAILED, WORKS, Diagram
from labkit.structure import Importance, Structure, Variable

__all__ = [
    "ALWAYS_FAILED",
    "ALWAYS_WORKS",
    "HOURS_PER_YEAR",
    "Block",
    "Chain",
    "Importance",
    "Part",
    "at_least",
    "common_cause",
    "parallel",
    "series",
]

HOURS_PER_YEAR = 8760.0


def _number(value, name: str, *, zero: bool = False, most: float = math.inf) -> float:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise TypeError(f"{name} must be a number, got {value!r}")
    number = float(value)
    rule = ">= 0" if zero else "> 0"
    if not (number >= 0.0 if zero else number > 0.0):
        raise ValueError(f"{name} must be {rule}, got {value}")
    if not number <= most or math.isinf(number):
        limit = "finite" if math.isinf(most) else f"<= {most:g}"
        raise ValueError(f"{name} must be {limit}, got {value}")
    return number


def _name(value, argument: str) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{argument} must be text, got {value!r}")
    if not value.strip():
        raise ValueError(f"{argument} must not be empty, got {value!r}")
    return value


def _names(values, argument: str) -> frozenset[str]:
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise TypeError(f"{argument} must be a set of names, got {values!r}")
    return frozenset(_name(value, f"each name in {argument}") for value in values)


class Block:
    """Stand for anything that works or fails: a part, a group of blocks, a chain's condition.

    Blocks are made by `Part`, `series`, `parallel`, `at_least` and `Chain.when`; they never
    change and can be keys of a mapping. Figures are worked out when first asked for and kept.

    Examples
    --------
    >>> supply = Part("supply", mtbf_h=99_000, mttr_h=1_000)
    >>> one = Part("one", mtbf_h=900, mttr_h=100)
    >>> two = Part("two", mtbf_h=900, mttr_h=100)
    >>> block = parallel(series(supply, one), series(supply, two))
    >>> f"{block.unavailability:.6f}"
    '0.019900'
    >>> [sorted(names) for names in block.minimal_cut_sets()]
    [['supply'], ['one', 'two']]
    """

    @property
    def parts(self) -> "Mapping[str, Part | Chain]":
        """Give the parts and chains by name, in the order in which the diagram meets them."""
        return MappingProxyType(self._members)

    @cached_property
    def _structure(self) -> Structure:
        return _structure_of(self)

    @cached_property
    def unavailability(self) -> float:
        """Give the long-run probability that the block is down (0 to 1), never as 1 - A.

        Examples
        --------
        >>> like = [Part(name, mtbf_h=999_999, mttr_h=1) for name in "abcde"]
        >>> f"{parallel(*like).unavailability:.12e}"
        '1.000000000000e-30'
        """
        return self._structure.unavailability

    @cached_property
    def availability(self) -> float:
        """Give the long-run probability that the block works (0 to 1)."""
        return self._structure.availability

    @cached_property
    def failures_per_h(self) -> float:
        """Give how often the block fails: outages per hour of calendar time in the long run.

        Notes
        -----
        The sum over the parts of Birnbaum importance x failure rate x availability, and over
        the transitions of each chain from s to r of P(s) x rate x P(the rest makes the block
        work in s and fail in r).

        References
        ----------
        Rausand and Hoyland (2004), section 9.6 on the frequency of system failures.
        """
        return math.fsum(self._structure.failures_per_h)

    @cached_property
    def mean_up_time_h(self) -> float:
        """Give the mean time from the end of an outage to the next one, in hours.

        Infinite for a block that never fails, 0 for one that never works.
        """
        if self.failures_per_h == 0.0:
            return math.inf if self.availability > 0.0 else 0.0
        return self.availability / self.failures_per_h

    @cached_property
    def mean_down_time_h(self) -> float:
        """Give the mean length of an outage in hours.

        Infinite for a block that never works; nan, no value, for one that never fails.
        """
        if self.failures_per_h == 0.0:
            return math.inf if self.unavailability > 0.0 else math.nan
        return self.unavailability / self.failures_per_h

    @property
    def downtime_h_per_year(self) -> float:
        """Give the hours down in a year of 8760 h."""
        return self.unavailability * HOURS_PER_YEAR

    def minimal_cut_sets(self, *, largest: int | None = None) -> tuple[frozenset[str], ...]:
        """Give the smallest sets of failures that stop the block.

        Parameters
        ----------
        largest : int, optional
            Leave out cut sets of more members. 10 out of 20 has 167 960 cut sets, and no
            plant is read in that way.

        Returns
        -------
        tuple of frozenset of str
            Sorted by size, then by names. Empty if the block never fails; one empty set if it
            never works.

        Notes
        -----
        A chain of which the diagram asks one condition is named like a part: it "fails" when
        the condition does not hold. A chain that is asked several conditions can fail in several
        ways, so it is named with the states meant, ``"pair: one failed"``; a member stands for
        these states and for those in which still fewer of the conditions hold.

        Raises
        ------
        TypeError, ValueError
            If `largest` is not a whole number >= 1.

        References
        ----------
        A. Rauzy, "New algorithms for fault trees analysis", Reliability Engineering and System
        Safety 40 (1993) 203-211.
        """
        if largest is not None:
            _whole(largest, "largest", 1, None)
        return self._structure.cut_sets(largest)

    def importance(self) -> "Mapping[str, Importance]":
        """Give for each part and chain by name what it means to the block.

        Examples
        --------
        >>> a, b, c = (Part(name, mtbf_h=900, mttr_h=100) for name in "abc")
        >>> record = series(a, parallel(b, c)).importance()["b"]
        >>> f"{record.birnbaum:.3f} {record.criticality:.3f} {record.fussell_vesely:.3f}"
        '0.090 0.083 0.092'
        """
        return MappingProxyType(self._importance)

    @cached_property
    def _importance(self) -> dict[str, Importance]:
        return self._structure.importance()

    def mission_reliability(self, t_h):
        """Give the probability that the block works without a break from 0 to `t_h`.

        Without repair; all parts new and working at 0.

        Parameters
        ----------
        t_h : float or sequence of float
            Length of the mission in hours, >= 0 and finite.

        Returns
        -------
        float or ndarray of the shape of `t_h`, 0 to 1

        Raises
        ------
        TypeError, ValueError
            If a time is not a number, negative or not finite; if the block contains a chain
            (a chain has its repairs inside; `MarkovModel.reliability` is the figure for it).

        Examples
        --------
        >>> one, two = (Part(name, mtbf_h=1000, mttr_h=1) for name in ("one", "two"))
        >>> f"{parallel(one, two).mission_reliability(1000):.6f}"
        '0.600424'
        """
        return self._mission(t_h, WORKS)

    def mission_unreliability(self, t_h):
        """Give the probability that the block fails before `t_h`, counted as such.

        Parameters, result and errors as for `mission_reliability`.

        Examples
        --------
        >>> pair = parallel(*(Part(name, mtbf_h=1e6, mttr_h=1) for name in ("one", "two")))
        >>> f"{pair.mission_unreliability(0.001):.6e}"
        '1.000000e-18'
        """
        return self._mission(t_h, FAILED)

    def _mission(self, t_h, end: int):
        if isinstance(t_h, Real):
            return float(self._structure.mission(np.array(_number(t_h, "t_h", zero=True)), end))
        if isinstance(t_h, str) or not isinstance(t_h, Iterable):
            raise TypeError(f"t_h must be a number or a sequence of numbers, got {t_h!r}")
        times_h = np.asarray(t_h)
        if times_h.dtype.kind not in "fiu":
            raise TypeError(f"t_h must hold numbers, got {t_h!r}")
        wrong = times_h[~((times_h >= 0) & np.isfinite(times_h))]
        if wrong.size:
            raise ValueError(f"t_h must be >= 0 and finite, got {wrong.flat[0]}")
        return self._structure.mission(times_h.astype(float), end)

    def mission_mttf_h(self) -> float:
        """Give the mean time to the first failure without repair, all parts new at 0, in hours.

        Infinite for a block that never fails.

        Raises
        ------
        ValueError
            If the block contains a chain.

        Notes
        -----
        The integral of the mission reliability R(t). Written out it is a sum of exponentials
        with changing signs, which loses digits; so it is summed as it stands, over t = exp(x)
        by the trapezoid rule, which gains digits in proportion to the number of points for this
        kind of integrand. The step is halved until two sums agree to 1e-13; the last is better
        than that.

        References
        ----------
        H. Takahasi, M. Mori, "Double exponential formulas for numerical integration", Publ.
        RIMS 9 (1974) 721-741.

        Examples
        --------
        >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=1) for name in ("one", "two")))
        >>> f"{pair.mission_mttf_h():.9f}"
        '1500.000000000'
        """
        return self._structure.mission_mttf_h()

    def given(
        self, failed: Iterable[str] = frozenset(), working: Iterable[str] = frozenset()
    ) -> "Block":
        """Give the block as it is with some parts failed for good and others working for good.

        Parameters
        ----------
        failed, working : set of str
            Names of parts or chains of the block. A chain that has failed meets none of the
            conditions that the diagram asks of it, one that works meets all of them.

        Returns
        -------
        Block
            Without the parts named; `ALWAYS_WORKS` or `ALWAYS_FAILED` if nothing is left.

        Raises
        ------
        TypeError, ValueError
            If a name is not text, does not occur in the block, or stands in both sets.

        Examples
        --------
        >>> a, b = (Part(name, mtbf_h=900, mttr_h=100) for name in "ab")
        >>> parallel(a, b).given(failed={"a"}) == b
        True
        """
        failed, working = _names(failed, "failed"), _names(working, "working")
        if failed & working:
            raise ValueError(
                f"failed and working must not share a name, got {min(failed & working)!r} in both"
            )
        unknown = (failed | working) - self._members.keys()
        if unknown:
            raise ValueError(
                f"failed and working must name parts of the block "
                f"({', '.join(self._members)}), got {min(unknown)!r}"
            )
        constants = dict.fromkeys(failed, ALWAYS_FAILED) | dict.fromkeys(working, ALWAYS_WORKS)
        done: dict[int, Block] = {}
        for block in _inside(self):
            if isinstance(block, _Gate):
                done[id(block)] = block._with([done[id(one)] for one in block.blocks])
            elif isinstance(block, _Constant):
                done[id(block)] = block
            else:
                done[id(block)] = constants.get(block._member.name, block)
        return done[id(self)]


@dataclass(frozen=True)
class _Constant(Block):
    works: bool

    def __repr__(self) -> str:
        return "ALWAYS_WORKS" if self.works else "ALWAYS_FAILED"

    @property
    def _members(self) -> dict:
        return {}


ALWAYS_WORKS = _Constant(works=True)
ALWAYS_FAILED = _Constant(works=False)


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

    def __post_init__(self):
        _name(self.name, "name")
        for times in ("mtbf_h", "mttr_h"):
            object.__setattr__(self, times, _number(getattr(self, times), times))

    @property
    def failure_rate_per_h(self) -> float:
        """Give the failure rate while working, 1 / MTBF, per hour."""
        return 1.0 / self.mtbf_h

    @property
    def restoration_rate_per_h(self) -> float:
        """Give the restoration rate while down, 1 / MTTR, per hour."""
        return 1.0 / self.mttr_h

    @property
    def _member(self) -> "Part":
        return self

    @property
    def _members(self) -> dict:
        return {self.name: self}


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
        _name(self.name, "name")
        for needed in ("states", "steady_state", "generator"):
            if not hasattr(self.model, needed):
                raise TypeError(f"model must have {needed}, got {self.model!r}")
        object.__setattr__(self, "units", _names(self.units, "units"))
        if self.name in self.units:
            raise ValueError(f"name must differ from the units, got {self.name!r}")

    def __eq__(self, other) -> bool:
        if not isinstance(other, Chain):
            return NotImplemented
        return self.name == other.name and self.model is other.model and self.units == other.units

    def __hash__(self) -> int:
        return hash((self.name, id(self.model)))

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
        for state in wanted - set(known):
            raise ValueError(f"states must be states of {self.name!r} {known!r}, got {state!r}")
        return ALWAYS_WORKS if len(wanted) == len(known) else _When(self, wanted)


@dataclass(frozen=True)
class _When(Block):
    chain: Chain
    states: frozenset

    def __repr__(self) -> str:
        states = ", ".join(repr(one) for one in self.chain.model.states if one in self.states)
        return f"Chain({self.chain.name!r}).when({{{states}}})"

    @property
    def _member(self) -> Chain:
        return self.chain

    @property
    def _members(self) -> dict:
        return {self.chain.name: self.chain}


class _Gate(Block):
    """Work while at least `needed` of the blocks work; series and parallel are the ends of it."""

    def __init__(self, needed: int, blocks: tuple[Block, ...]):
        members: dict[str, Part | Chain] = {}
        for block in blocks:
            for name, member in block._members.items():
                if members.setdefault(name, member) != member:
                    raise ValueError(
                        f"one name must be one part, got two different parts named {name!r}: "
                        f"{members[name]!r} and {member!r}"
                    )
        for chain in members.values():
            if isinstance(chain, Chain) and chain.units & members.keys():
                raise ValueError(
                    f"units of the chain {chain.name!r} must not be parts of the diagram too, "
                    f"got {min(chain.units & members.keys())!r}"
                )
        self.__dict__.update(
            needed=needed, blocks=blocks, _members=members, _hash=hash((needed, blocks))
        )

    def __setattr__(self, name, value):
        raise AttributeError(f"blocks never change, got a new value for {name!r}")

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other) -> bool:
        waiting = [(self, other)]
        while waiting:
            one, two = waiting.pop()
            if one is two:
                continue
            if not (isinstance(one, _Gate) and isinstance(two, _Gate)):
                if isinstance(one, _Gate) or isinstance(two, _Gate) or one != two:
                    return False
                continue
            if (one._hash, one.needed, len(one.blocks)) != (
                two._hash,
                two.needed,
                len(two.blocks),
            ):
                return False
            waiting.extend(zip(one.blocks, two.blocks))
        return True

    def __repr__(self) -> str:
        return f"<{self.needed} of {len(self.blocks)} blocks, {len(self._members)} parts>"

    def _with(self, blocks: list[Block]) -> Block:
        """Give the gate with these blocks in place of its own, simplified."""
        if all(one is two for one, two in zip(self.blocks, blocks)):
            return self
        needed = self.needed - blocks.count(ALWAYS_WORKS)
        left = tuple(one for one in blocks if not isinstance(one, _Constant))
        if needed <= 0:
            return ALWAYS_WORKS
        if needed > len(left):
            return ALWAYS_FAILED
        return left[0] if len(left) == 1 else _Gate(needed, left)


def _whole(value, name: str, least: int, most: int | None) -> int:
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise TypeError(f"{name} must be a whole number, got {value!r}")
    if value < least or (most is not None and value > most):
        rule = f">= {least}" if most is None else f"from {least} to {most}"
        raise ValueError(f"{name} must be {rule}, got {value}")
    return int(value)


def _blocks(blocks: tuple) -> tuple[Block, ...]:
    if not blocks:
        raise ValueError("blocks must be at least one block, got none")
    for block in blocks:
        if not isinstance(block, Block):
            hint = " (take chain.when(states))" if isinstance(block, Chain) else ""
            raise TypeError(f"blocks must be parts or blocks{hint}, got {block!r}")
    return blocks


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
    return _Gate(len(_blocks(blocks)), blocks)


def parallel(*blocks: Block) -> Block:
    """Give the block that works while at least one of the blocks works.

    Parameters and errors as for `series`.

    Examples
    --------
    >>> block = parallel(Part("a", mtbf_h=9, mttr_h=1), Part("b", mtbf_h=9, mttr_h=1))
    >>> f"{block.unavailability:.2f} {block.mean_down_time_h:.2f}"
    '0.01 0.50'
    """
    return _Gate(1, _blocks(blocks))


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
    _blocks(blocks)
    return _Gate(_whole(k, "k", 1, len(blocks)), blocks)


def common_cause(
    parts: Iterable[Part], share: float, *, name: str | None = None, mttr_h: float | None = None
) -> tuple[Block, ...]:
    """Split like parts into what fails alone and what fails together (beta-factor model).

    Parameters
    ----------
    parts : iterable of Part
        Two or more of the same `mtbf_h` and `mttr_h`.
    share : float
        Share of the failures of each part that take all of them at once (beta), 0 to 1.
    name : str, optional
        Name of the common-cause event; by default "common cause of A, B".
    mttr_h : float, optional
        Mean time to restoration after the common cause in hours; by default as for the parts.

    Returns
    -------
    tuple of Block
        One for each part, in order: a part of its name with the failure rate
        (1 - share) x lambda in series with the common-cause part with the rate share x lambda,
        which is one and the same in all of them. With a share of 0 the parts as they are.

    Raises
    ------
    TypeError, ValueError
        If there are fewer than two parts, if they are unlike, if the share is not from 0 to 1.

    Notes
    -----
    Each part keeps its failure rate lambda as a whole. The model knows "one alone" and "all at
    once" only; the standard's factors for groups in which some of three or more fail at once
    are not in it.

    References
    ----------
    IEC 61508-6:2010, Annex D (methodology for quantifying the effect of hardware-related common
    cause failures).

    Examples
    --------
    >>> twins = [Part(name, mtbf_h=220_000, mttr_h=3) for name in ("A", "B")]
    >>> one, two = common_cause(twins, 0.05)
    >>> [sorted(names) for names in parallel(one, two).minimal_cut_sets()]
    [['common cause of A, B'], ['A', 'B']]
    """
    if isinstance(parts, (str, Block)) or not isinstance(parts, Iterable):
        raise TypeError(f"parts must be a sequence of parts, got {parts!r}")
    parts = tuple(parts)
    for part in parts:
        if not isinstance(part, Part):
            raise TypeError(f"parts must hold parts only, got {part!r}")
    if len({part.name for part in parts}) < max(2, len(parts)):
        raise ValueError(f"parts must be two or more of different names, got {parts!r}")
    if len({(part.mtbf_h, part.mttr_h) for part in parts}) > 1:
        raise ValueError(f"parts must have the same mtbf_h and mttr_h, got {parts!r}")
    share = _number(share, "share", zero=True, most=1.0)
    if name is None:
        name = "common cause of " + ", ".join(part.name for part in parts)
    if share == 0.0:
        return parts
    like = parts[0]
    common = Part(
        name, mtbf_h=like.mtbf_h / share, mttr_h=like.mttr_h if mttr_h is None else mttr_h
    )
    if share == 1.0:
        return (common,) * len(parts)
    return tuple(
        series(Part(part.name, mtbf_h=part.mtbf_h / (1.0 - share), mttr_h=part.mttr_h), common)
        for part in parts
    )


def _inside(block: Block) -> list[Block]:
    """List the different blocks inside a block and itself, inner before outer."""
    order: list[Block] = []
    seen: set[int] = set()
    waiting = [(block, False)]
    while waiting:
        one, opened = waiting.pop()
        if opened:
            order.append(one)
        elif id(one) not in seen:
            seen.add(id(one))
            waiting.append((one, True))
            if isinstance(one, _Gate):
                waiting.extend((inner, False) for inner in reversed(one.blocks))
    return order


def _part_variable(part: Part) -> Variable:
    whole_h = part.mtbf_h + part.mttr_h
    per_h = 1.0 / whole_h
    return Variable(
        name=part.name,
        better=((), (0,)),
        chances=(part.mtbf_h / whole_h, part.mttr_h / whole_h),
        flows=((0, 1, per_h), (1, 0, per_h)),
        labels=(None, part.name),
        mtbf_h=part.mtbf_h,
    )


def _chain_classes(chain: Chain, conditions: list[frozenset]) -> dict[frozenset, list[int]]:
    """Group the states by which of the conditions hold; from all of them to none."""
    classes: dict[frozenset, list[int]] = {frozenset(range(len(conditions))): [], frozenset(): []}
    for place, state in enumerate(chain.model.states):
        holds = frozenset(at for at, states in enumerate(conditions) if state in states)
        classes.setdefault(holds, []).append(place)
    return dict(sorted(classes.items(), key=lambda item: -len(item[0])))


def _chain_variable(chain: Chain, conditions: list[frozenset]) -> Variable:
    classes = _chain_classes(chain, conditions)
    states = tuple(chain.model.states)
    chances = np.asarray(chain.model.steady_state(), dtype=float)
    member = np.zeros((len(states), len(classes)))
    for number, places in enumerate(classes.values()):
        member[places, number] = 1.0
    # Only the entries between two classes are used, and all of these are rates >= 0.
    between = (member * chances[:, None]).T @ (chain.model.generator @ member)
    count = range(len(classes))
    label = {
        number: chain.name
        if len(conditions) == 1
        else f"{chain.name}: {' or '.join(str(states[place]) for place in places)}"
        for number, places in enumerate(classes.values())
        if places
    }
    return Variable(
        name=chain.name,
        better=tuple(tuple(at for at, more in enumerate(classes) if more > own) for own in classes),
        chances=tuple(float(sum(chances[places])) for places in classes.values()),
        flows=tuple(
            (start, to, float(between[start, to]))
            for start in count
            for to in count
            if start != to and between[start, to] != 0.0
        ),
        labels=tuple(label.get(number) for number in count),
        mtbf_h=None,
    )


def _structure_of(block: Block) -> Structure:
    inside = _inside(block)
    conditions: dict[str, list[frozenset]] = {}
    for one in inside:
        if isinstance(one, _When):
            asked = conditions.setdefault(one.chain.name, [])
            if one.states not in asked:
                asked.append(one.states)
    levels = {name: level for level, name in enumerate(block._members)}

    def build(diagram: Diagram) -> int:
        made: dict[int, int] = {}
        for one in inside:
            if isinstance(one, _Gate):
                tolerated = len(one.blocks) - one.needed
                node = diagram.threshold(tolerated + 1, [made[id(each)] for each in one.blocks])
            elif isinstance(one, _Constant):
                node = WORKS if one.works else FAILED
            elif isinstance(one, Part):
                node = diagram.node(levels[one.name], (WORKS, FAILED))
            else:
                asked = conditions[one.chain.name]
                ends = tuple(
                    WORKS if asked.index(one.states) in holds else FAILED
                    for holds in _chain_classes(one.chain, asked)
                )
                node = diagram.node(levels[one.chain.name], ends)
            made[id(one)] = node
        return node

    return Structure(
        [
            _part_variable(member)
            if isinstance(member, Part)
            else _chain_variable(member, conditions[name])
            for name, member in block._members.items()
        ],
        build,
    )
