"""What all blocks have in common: their figures, and the gate that joins blocks.

`labkit.availability.parts` is what to use; it says under which conditions the figures hold.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from labkit import arguments
from labkit.availability.diagram import FAILED, WORKS
from labkit.availability.figures import Figures
from labkit.availability.modules import inside
from labkit.availability.structure import Importance
from labkit.wording import HOURS_PER_YEAR

# Each gate knows all parts inside it: memory grows as the square of the depth.
MOST_DEPTH = 2000


def checked_name(argument: str, value: str) -> str:
    """Give a name back; raise an error if it is no text or empty."""
    if not isinstance(value, str):
        raise TypeError(f"{argument} must be text, got {value!r}")
    if not value.strip():
        raise ValueError(f"{argument} must not be empty, got {value!r}")
    return value


def checked_names(argument: str, values: Iterable[str]) -> frozenset[str]:
    """Give a set of names back; raise an error if it is none."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise TypeError(f"{argument} must be a set of names, got {values!r}")
    return frozenset(checked_name(f"each name in {argument}", value) for value in values)


class Block:
    """Stand for anything that works or fails: a part, a group of blocks, a chain's condition.

    Blocks are made by `Part`, `series`, `parallel`, `at_least` and `Chain.when`; they never
    change and can be keys of a mapping. Figures are worked out when first asked for and kept.

    Examples
    --------
    >>> from labkit import Part, parallel, series
    >>> supply = Part("supply", mtbf_h=99_000, mttr_h=1_000)
    >>> one = Part("one", mtbf_h=900, mttr_h=100)
    >>> two = Part("two", mtbf_h=900, mttr_h=100)
    >>> block = parallel(series(supply, one), series(supply, two))
    >>> f"{block.unavailability:.6f}"
    '0.019900'
    >>> [sorted(names) for names in block.minimal_cut_sets()]
    [['supply'], ['one', 'two']]
    """

    # A leaf (part, constant, condition of a chain) has no blocks. Each block gives its `_members`
    # by name, and a leaf that has one its `_condition`: what is asked of it.
    blocks = ()

    @property
    def parts(self) -> Mapping:
        """Give the parts and chains by name, in the order in which they are met in the block."""
        return MappingProxyType(self._members)

    @cached_property
    def _figures(self) -> Figures:
        return Figures(self)

    @cached_property
    def unavailability(self) -> float:
        """Give the long-run probability that the block is down (0 to 1), never as 1 - A.

        Examples
        --------
        >>> from labkit import Part, parallel
        >>> like = [Part(name, mtbf_h=999_999, mttr_h=1) for name in "abcde"]
        >>> f"{parallel(*like).unavailability:.12e}"
        '1.000000000000e-30'
        """
        return self._figures.long_run("unavailability")

    @cached_property
    def availability(self) -> float:
        """Give the long-run probability that the block works (0 to 1)."""
        return self._figures.long_run("availability")

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
        W. E. Vesely, "A time-dependent methodology for fault tree evaluation", Nuclear
        Engineering and Design 13 (1970) 337-360.
        """
        return math.fsum(self._figures.long_run("failures_per_h"))

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
            plant is read in that way. They are counted before they are listed, by
            `count_minimal_cut_sets`; a list of more than 1 000 000 is refused.

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
            If `largest` is not a whole number >= 1, or if there are more than 1 000 000.

        References
        ----------
        A. Rauzy, "New algorithms for fault trees analysis", Reliability Engineering and System
        Safety 40 (1993) 203-211.
        """
        return self._figures.cut_sets(_largest(largest))

    def count_minimal_cut_sets(self, *, largest: int | None = None) -> dict[int, int]:
        """Count the smallest sets of failures that stop the block, without listing them.

        Parameters
        ----------
        largest : int, optional
            Leave out cut sets of more members.

        Returns
        -------
        dict of int to int
            Size of a cut set -> how many there are, small sizes first.

        Raises
        ------
        TypeError, ValueError
            If `largest` is not a whole number >= 1.

        Examples
        --------
        >>> from labkit import Part, at_least
        >>> parts = [Part(f"p{number}", mtbf_h=99, mttr_h=1) for number in range(60)]
        >>> at_least(31, *parts).count_minimal_cut_sets()
        {30: 118264581564861424}
        """
        return dict(sorted(self._figures.cut_set_sizes(_largest(largest)).items()))

    def importance(self) -> "Mapping[str, Importance]":
        """Give for each part and chain by name what it means to the block.

        Examples
        --------
        >>> from labkit import Part, parallel, series
        >>> a, b, c = (Part(name, mtbf_h=900, mttr_h=100) for name in "abc")
        >>> record = series(a, parallel(b, c)).importance()["b"]
        >>> f"{record.birnbaum:.3f} {record.criticality:.3f} {record.fussell_vesely:.3f}"
        '0.090 0.083 0.092'
        """
        return MappingProxyType(self._importance)

    @cached_property
    def _importance(self) -> dict[str, Importance]:
        found = self._figures.importance()
        return {name: found.get(name, self._figures.no_importance()) for name in self._members}

    def unavailability_at(self, t_h):
        """Give the probability that the block is down at a time, with its repairs going on.

        All parts new and working at 0, chains in the state in which they start.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0 and finite.

        Returns
        -------
        float or ndarray of the shape of `t_h`, 0 to 1

        Raises
        ------
        TypeError, ValueError
            If a time is not a number, negative or not finite.

        Notes
        -----
        Exact: each part has U(t) = U [1 - exp(-(lambda + mu) t)], and the block is worked out
        with these as in the long run. `unavailability` is the limit.

        References
        ----------
        IEC 61703 (instantaneous unavailability of a repairable item).

        Examples
        --------
        >>> from labkit import Part, parallel
        >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=10) for name in ("one", "two")))
        >>> [f"{down:.3e}" for down in pair.unavailability_at([1.0, 10.0, 1000.0])]
        ['9.047e-07', '3.963e-05', '9.803e-05']
        """
        return arguments.plain(self._figures.unavailability_at(arguments.times_h("t_h", t_h)))

    def outages_until(self, t_h):
        """Give the mean number of outages that begin from 0 to a time, repairs going on.

        All parts new and working at 0, chains in the state in which they start.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0 and finite.

        Returns
        -------
        float or ndarray of the shape of `t_h`, >= 0

        Raises
        ------
        TypeError, ValueError
            If a time is not a number, negative or not finite.

        Notes
        -----
        The integral of the failure frequency w(t) (Vesely), by Gauss and Legendre. It bounds
        the chance that the block has failed at least once, F(t), for a block of any size:
        U(t) <= F(t) <= `outages_until`. The upper one is near while it is well below 1; the exact
        F(t) of a small block is `first_failure_chain(block).unreliability(t)`.

        References
        ----------
        W. E. Vesely, Nuclear Engineering and Design 13 (1970) 337-360.

        Examples
        --------
        >>> from labkit import Part, parallel
        >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=10) for name in ("one", "two")))
        >>> f"{pair.outages_until(8760):.4f}"
        '0.1716'
        """
        times_h = arguments.times_h("t_h", t_h)
        found = [self._figures.outages_until(one) if one else 0.0 for one in times_h.ravel()]
        return arguments.plain(np.array(found).reshape(times_h.shape))

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
        >>> from labkit import Part, parallel
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
        >>> from labkit import Part, parallel
        >>> pair = parallel(*(Part(name, mtbf_h=1e6, mttr_h=1) for name in ("one", "two")))
        >>> f"{pair.mission_unreliability(0.001):.6e}"
        '1.000000e-18'
        """
        return self._mission(t_h, FAILED)

    def _mission(self, t_h, end: int):
        return arguments.plain(self._figures.mission(arguments.times_h("t_h", t_h), end))

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
        with changing signs, which loses digits; so it is integrated as it stands, by Gauss and
        Legendre in stretches of which each is twice as long as the one before.

        Examples
        --------
        >>> from labkit import Part, parallel
        >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=1) for name in ("one", "two")))
        >>> f"{pair.mission_mttf_h():.9f}"
        '1500.000000000'
        """
        return self._figures.mission_mttf_h()

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
        >>> from labkit import Part, parallel
        >>> a, b = (Part(name, mtbf_h=900, mttr_h=100) for name in "ab")
        >>> parallel(a, b).given(failed={"a"}) == b
        True
        """
        failed = checked_names("failed", failed)
        working = checked_names("working", working)
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
        for block in inside(self):
            if block.blocks:
                done[id(block)] = block._with([done[id(one)] for one in block.blocks])
            else:
                (name,) = block._members or (None,)
                done[id(block)] = constants.get(name, block)
        return done[id(self)]


def _largest(largest: int | None) -> int | None:
    return None if largest is None else arguments.count("largest", largest, least=1)


@dataclass(frozen=True)
class _Constant(Block):
    works: bool

    def __repr__(self) -> str:
        return "ALWAYS_WORKS" if self.works else "ALWAYS_FAILED"

    _members = MappingProxyType({})



ALWAYS_WORKS = _Constant(works=True)
ALWAYS_FAILED = _Constant(works=False)


class Gate(Block):
    """Work while at least `needed` of the blocks work; series and parallel are the ends of it.

    Parameters
    ----------
    needed : int
        From 1 to the number of blocks.

    Raises
    ------
    TypeError, ValueError
        If there is no block or something else than a block, if two different parts have one
        name, if a part stands in the diagram and in a chain too, or if blocks are nested more
        than 2000 deep.
    """

    def __init__(self, needed: int, blocks: tuple[Block, ...]):
        if not blocks:
            raise ValueError("blocks must be at least one block, got none")
        members: dict = {}
        units: frozenset[str] = frozenset()
        depth = 1 + max(getattr(block, "depth", 0) for block in blocks)
        if depth > MOST_DEPTH:
            raise ValueError(f"blocks must be nested at most {MOST_DEPTH} deep, got {depth}")
        for block in blocks:
            if not isinstance(block, Block):
                hint = " (take chain.when(states))" if hasattr(block, "when") else ""
                raise TypeError(f"blocks must be parts or blocks{hint}, got {block!r}")
            for name, member in block._members.items():
                known = members.setdefault(name, member)
                if known is not member and known != member:
                    raise ValueError(
                        f"one name must be one part, got two different parts named {name!r}: "
                        f"{known!r} and {member!r}"
                    )
                units |= member._units
        twice = units & members.keys()
        if twice:
            raise ValueError(
                f"units of a chain must not be parts of the diagram too, got {min(twice)!r}"
            )
        self.__dict__.update(
            needed=needed,
            blocks=blocks,
            depth=depth,
            _members=members,
            _hash=hash((needed, blocks)),
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
            gates = [isinstance(each, Gate) for each in (one, two)]
            if not all(gates):
                if any(gates) or one != two:
                    return False
            elif one.needed != two.needed or len(one.blocks) != len(two.blocks):
                return False
            else:
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
        return left[0] if len(left) == 1 else Gate(needed, left)
