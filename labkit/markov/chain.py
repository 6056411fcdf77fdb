"""Markov chains in continuous time: named states, rates per hour, some states up and the rest down.

Conventions of the whole package, said once: ``generator[i, j]`` is the rate from state i to state
j, its rows sum to 0, and probabilities are a row vector p with dp/dt = p Q. Unavailability is
always added up from the down states and never taken as 1 - availability, so that a value of 1e-15
has as many right digits as one of 0.5.
"""

import math
from collections.abc import Hashable, Iterable, Mapping
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from labkit.arguments import fraction, mapping, number, plain, positive, times_h, written
from labkit.markov.elimination import Reduction, closed_classes, reachable
from labkit.markov.passage import FirstPassage
from labkit.markov.transient import evolve
from labkit.wording import HOURS_PER_YEAR

# What a start may be given as: nothing, a state, or probabilities of states.
Start = Hashable | Mapping[Hashable, float] | None

# About a minute in time; the first failure of ten parts has 1024.
MOST_STATES = 3000
# The sum of all rates out of a state is then a number that a float holds.
_FASTEST = 1e300


class LongRun:
    """Give the figures that follow from `steady_state()` and from which states are up, `_is_up`."""

    @property
    def unavailability(self) -> float:
        """Give the long-run share of time in the states that are not up, 0 to 1."""
        return float(self.steady_state()[~self._is_up].sum())

    @property
    def availability(self) -> float:
        """Give the long-run share of time in the up states, 0 to 1."""
        return float(self.steady_state()[self._is_up].sum())

    @property
    def downtime_h_per_year(self) -> float:
        """Give the mean time not up in hours per year of 8760 h."""
        return HOURS_PER_YEAR * self.unavailability


class MarkovModel(LongRun):
    """Describe a Markov chain in continuous time and compute its long run and its course.

    Parameters
    ----------
    rates : mapping of (state, state) to float
        Transition rates per hour, finite and >= 0, keyed by (from, to). States are any hashable
        values; their order is that of first appearance in this mapping. A rate of 0 names a
        transition that does not happen. May be empty for a chain of one state, which is then
        named by `start` or by `up`.
    up : iterable of states
        The states in which the system works; may be empty or hold all states.
    start : state or mapping of state to probability, optional
        Where the chain is at time 0: a state, or probabilities that sum to 1. Default: the state
        that appears first.

    Raises
    ------
    TypeError
        If `rates` is no mapping, a key no pair of hashable states, a rate or probability no
        number, or `up` no iterable of states.
    ValueError
        If `rates` is empty, a rate is negative, infinite or NaN or leads from a state to itself,
        `up` or `start` names an unknown state, or the probabilities of `start` do not sum to 1.

    Notes
    -----
    The time in each state is exponentially distributed. If the chain can end in several closed
    sets of states, the long run depends on `start`: it is the mixture with the probabilities of
    ending in each. Nothing is subtracted anywhere (see labkit.markov.elimination and
    labkit.markov.transient); the relative error of each probability stays near 1e-14 for 50 states.

    References
    ----------
    W. J. Stewart, Introduction to the Numerical Solution of Markov Chains, Princeton 1994.
    IEC 61165, Application of Markov techniques.

    Examples
    --------
    >>> pump = MarkovModel({("runs", "broken"): 1e-3, ("broken", "runs"): 0.25}, up=["runs"])
    >>> pump.states
    ('runs', 'broken')
    >>> print(f"{pump.unavailability:.6f}")
    0.003984
    >>> print(f"{pump.mean_time_to_first_failure_h():.0f} h")
    1000 h
    """

    def __init__(
        self,
        rates: Mapping[tuple[Hashable, Hashable], float],
        up: Iterable[Hashable],
        start: Start = None,
    ):
        up = _states("up", up)
        if start is None and isinstance(rates, Mapping) and not rates and len(up) == 1:
            start = up[0]
        index, arcs = _read_rates(rates, start)
        self._index = index
        self._arcs = arcs
        self._states = tuple(index)
        self._is_up = self._mask("up", up)
        self._start = self._distribution(self._states[0] if start is None else start)

    def __repr__(self) -> str:
        return f"<MarkovModel of {len(self._states)} states, {int(self._is_up.sum())} up>"

    # -- what was given ---------------------------------------------------------------------

    @property
    def states(self) -> tuple:
        """Name the states, a tuple in the order of first appearance in `rates`."""
        return self._states

    @property
    def up(self) -> tuple:
        """Name the states in which the system works, a tuple in the order of `states`."""
        return tuple(s for s, works in zip(self._states, self._is_up) if works)

    @property
    def down(self) -> tuple:
        """Name the states in which the system does not work, in the order of `states`."""
        return tuple(s for s, works in zip(self._states, self._is_up) if not works)

    @property
    def start(self) -> dict:
        """Map the states the chain may begin in to their probabilities."""
        return {s: float(p) for s, p in zip(self._states, self._start) if p > 0}

    @property
    def rates(self) -> dict:
        """Map (from, to) to the rate per hour, as given."""
        return {(self._states[i], self._states[j]): rate for (i, j), rate in self._arcs.items()}

    @cached_property
    def generator(self) -> np.ndarray:
        """Give Q, a read-only (n, n) array: rates per hour, rows sum to 0."""
        q = np.zeros((len(self._states), len(self._states)))
        for (i, j), rate in self._arcs.items():
            q[i, j] = rate
        np.fill_diagonal(q, -q.sum(axis=1))
        q.setflags(write=False)
        return q

    @cached_property
    def _rates(self):
        """Rates per hour, the diagonal 0."""
        matrix = self.generator.copy()
        np.fill_diagonal(matrix, 0.0)
        return matrix

    # -- long run ---------------------------------------------------------------------------

    def steady_state(self, start: Start = None) -> np.ndarray:
        """Give the long-run probabilities of the states.

        Parameters
        ----------
        start : state or mapping of state to probability, optional
            Default: the start of the model. It matters only if the chain can end in more than
            one closed set of states.

        Returns
        -------
        (n,) array of float
            Probabilities in the order of `states`, sum 1.

        Raises
        ------
        ValueError
            If `start` is unknown or its probabilities do not sum to 1.

        Notes
        -----
        Probabilities of ending in each closed class, times the stationary vector of the class;
        both by elimination without subtraction. Where the chain has one closed class the result
        is unique and does not depend on the start.

        References
        ----------
        W. K. Grassmann, M. I. Taksar, D. P. Heyman, Operations Research 33 (1985) 1107-1116.

        Examples
        --------
        >>> one_way = MarkovModel({("new", "lost"): 1e-4, ("new", "sold"): 3e-4}, up=["new"])
        >>> one_way.steady_state().round(12).tolist()
        [0.0, 0.25, 0.75]
        """
        if start is None:
            return self._steady_state.copy()
        return self._long_run(self._distribution(start))

    @cached_property
    def _steady_state(self):
        return self._long_run(self._start)

    @cached_property
    def _classes(self):
        return closed_classes(self._rates)

    def _long_run(self, start):
        return long_run(self._rates, start, self._classes)

    @cached_property
    def _failing(self):
        """Rates per hour from each state into the down states; 0 for a down state."""
        return np.where(self._is_up, self._rates[:, ~self._is_up].sum(axis=1), 0.0)

    @property
    def failures_per_h(self) -> float:
        """Give the long-run number of failures (steps from up to down) per hour."""
        return float(self._steady_state @ self._failing)

    @property
    def mean_up_time_h(self) -> float:
        """Give the long-run mean time from a restoration to the next failure, in hours.

        Availability over failures per hour. If no failure happens in the long run: infinite, or
        0 if the system is never up then.
        """
        return _mean_stay(self.availability, self.failures_per_h)

    @property
    def mean_down_time_h(self) -> float:
        """Give the long-run mean time from a failure to the restoration, in hours.

        Unavailability over failures per hour. If no failure happens in the long run: 0, or
        infinite if the system may then stay down for ever.
        """
        return _mean_stay(self.unavailability, self.failures_per_h)

    # -- in time ----------------------------------------------------------------------------

    def probabilities(self, t_h: ArrayLike, start: Start = None) -> np.ndarray:
        """Give the probabilities of the states at a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0, in any order; infinity gives the long run.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        (n,) array of float, or (len(t_h), n) for a sequence
            Probabilities in the order of `states`; each row sums to 1.

        Raises
        ------
        TypeError
            If `t_h` is not made of numbers.
        ValueError
            If a time is negative or NaN, or `start` is
            unknown or does not sum to 1.

        Notes
        -----
        p(t) = p(0) exp(Q t), computed as labkit.markov.transient says; entries below 1e-300 may
        be 0.

        Examples
        --------
        >>> pump = two_state(mtbf_h=1000, mttr_h=4)
        >>> pump.probabilities([0, 8]).round(6).tolist()
        [[1.0, 0.0], [0.996551, 0.003449]]
        """
        return self._course(times_h("t_h", t_h, finite=False), start)[0]

    def _course(self, times, start):
        p0 = self._distribution(start)
        finite = np.isfinite(times)
        p = np.empty((*times.shape, len(self._states)))
        hours = np.full_like(p, math.inf)
        p[finite], hours[finite] = evolve(self._rates, p0, times[finite])
        if not finite.all():
            p[~finite] = self._long_run(p0)
        return p, hours

    def unavailability_at(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the probability of being down at a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; infinity gives the long run.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1, the sum over the down states.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1000, mttr_h=4).unavailability_at(8):.6f}")
        0.003449
        """
        p = self.probabilities(t_h, start)
        return plain(p[..., ~self._is_up].sum(axis=-1))

    def hours_in_states(self, t_h: ArrayLike, start: Start = None) -> np.ndarray:
        """Give the mean time spent in each state from 0 to a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0, finite.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        (n,) array of float, or (len(t_h), n) for a sequence
            Hours in the order of `states`; each row sums to its time.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`, and ValueError if a time is infinite.

        Notes
        -----
        The integral of p(0) exp(Q s) over s from 0 to t, by sums of positive products.

        Examples
        --------
        >>> two_state(mtbf_h=1000, mttr_h=4).hours_in_states(8760).round(3).tolist()
        [8725.115, 34.885]
        """
        return self._course(times_h("t_h", t_h), start)[1]

    def entries(self, t_h: ArrayLike, start: Start = None) -> np.ndarray:
        """Give the mean number of times each state is entered from 0 to a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0, finite.
        start : state or mapping of state to probability, optional
            Default: the start of the model. Being there at time 0 is not counted as entering.

        Returns
        -------
        (n,) array of float, or (len(t_h), n) for a sequence
            Mean numbers, >= 0, in the order of `states`.

        Raises
        ------
        TypeError, ValueError
            As `hours_in_states`.

        Examples
        --------
        >>> two_state(mtbf_h=1000, mttr_h=4).entries(8760).round(3).tolist()
        [8.721, 8.725]
        """
        return self.hours_in_states(t_h, start) @ self._rates

    def failures_until(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the mean number of failures (steps from up to down) from 0 to a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0, finite.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        float, or (len(t_h),) array of float
            Mean number, >= 0.

        Raises
        ------
        TypeError, ValueError
            As `hours_in_states`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1000, mttr_h=4).failures_until(8760):.3f}")
        8.725
        """
        return plain(self.hours_in_states(t_h, start) @ self._failing)

    def interval_availability(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the mean share of the time from 0 to a time that the system is up.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; at 0 the value is that of the start, at infinity the long run.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        float, or (len(t_h),) array of float
            Share, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1000, mttr_h=4).interval_availability(8):.6f}")
        0.997734
        """
        return self._mean_share(t_h, start, self._is_up)

    def interval_unavailability(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the mean share of the time from 0 to a time that the system is down.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; at 0 the value is that of the start, at infinity the long run.
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        float, or (len(t_h),) array of float
            Share, 0 to 1, with all its digits however small.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1000, mttr_h=4).interval_unavailability(8):.6f}")
        0.002266
        """
        return self._mean_share(t_h, start, ~self._is_up)

    def _mean_share(self, t_h, start, states):
        times = times_h("t_h", t_h, finite=False)
        p, hours = self._course(times, start)
        inside = (times > 0) & np.isfinite(times)
        share = np.asarray(p[..., states].sum(axis=-1))
        share[inside] = hours[inside][:, states].sum(axis=1) / times[inside]
        return plain(share)

    # -- first failure ----------------------------------------------------------------------

    def first_passage(self, targets: Iterable[Hashable], start: Start = None) -> FirstPassage:
        """Describe the time until one of some states is first entered.

        Parameters
        ----------
        targets : iterable of states
            At least one state.
        start : state or mapping of state to probability, optional
            Default: the start of the model. A start within the targets arrives at once.

        Returns
        -------
        FirstPassage
            Its probability in time, mean, variance, quantiles.

        Raises
        ------
        TypeError
            If `targets` is no iterable of states.
        ValueError
            If `targets` is empty or unknown, or `start` is unknown or does not sum to 1.

        Examples
        --------
        >>> two_state(mtbf_h=1000, mttr_h=4).first_passage(["down"]).mean_h
        1000.0
        """
        chosen = self._mask("targets", _states("targets", targets))
        if not chosen.any():
            raise ValueError("targets must name at least one state, got none")
        return FirstPassage(self._rates, chosen, self._distribution(start))

    def _first_failure(self, start):
        return FirstPassage(self._rates, ~self._is_up, self._distribution(start))

    def reliability(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the probability of no failure from 0 to a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; infinity gives the chance of never failing.
        start : state or mapping of state to probability, optional
            Default: the start of the model. A start in a down state counts as failed at once.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1000, mttr_h=4).reliability(1000):.6f}")
        0.367879
        """
        return self._first_failure(start).survival(t_h)

    def unreliability(self, t_h: ArrayLike, start: Start = None) -> float | np.ndarray:
        """Give the probability of at least one failure from 0 to a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; infinity gives the chance of ever failing.
        start : state or mapping of state to probability, optional
            Default: the start of the model. A start in a down state counts as failed at once.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1, computed as such: it keeps its digits however small.

        Raises
        ------
        TypeError, ValueError
            As `probabilities`.

        Examples
        --------
        >>> print(f"{two_state(mtbf_h=1e6, mttr_h=4).unreliability(1e-6):.3g}")
        1e-12
        """
        return self._first_failure(start).probability(t_h)

    def mean_time_to_first_failure_h(self, start: Start = None) -> float:
        """Give the mean time to the first failure in hours.

        Parameters
        ----------
        start : state or mapping of state to probability, optional
            Default: the start of the model.

        Returns
        -------
        float
            Hours; 0 from a down state, infinite where a failure may never come.

        Raises
        ------
        ValueError
            If `start` is unknown or does not sum to 1.

        References
        ----------
        A. Birolini, Reliability Engineering, 5th ed. 2007, section 6.

        Examples
        --------
        >>> rates = {(2, 1): 2e-3, (1, 2): 0.25, (1, 0): 1e-3, (0, 1): 0.25}
        >>> hot_pair = MarkovModel(rates, up=[2, 1])
        >>> print(f"{hot_pair.mean_time_to_first_failure_h():.0f}")
        126500
        >>> print(f"{hot_pair.mean_time_to_first_failure_h(start=1):.0f}")
        126000
        """
        return self._first_failure(start).mean_h

    # -- sensitivity ------------------------------------------------------------------------

    def unavailability_sensitivity(self) -> dict:
        """Give the derivative of the long-run unavailability by each rate.

        Returns
        -------
        dict of (state, state) to float
            For each entry of `rates`: change of unavailability per change of the rate in 1/h,
            that is, in hours.

        Raises
        ------
        ValueError
            If the chain can end in more than one closed set of states: the long run then need
            not change smoothly with a rate.

        Notes
        -----
        With p the long run, dU/dq(i,j) = p(i) [A D(j,i) - U T(j,i)], where D and T are the mean
        down and up time that the chain collects from j until it first is in i. Each of these is
        free of subtraction; the one difference that remains is in the nature of a derivative,
        which may be zero. The result is right to about 1e-15 times
        p(i) [A D(j,i) + U T(j,i)]: all digits where one of the terms rules, fewer where they
        nearly cancel. It takes one elimination for each state.

        References
        ----------
        P. J. Schweitzer, "Perturbation theory and finite Markov chains", Journal of Applied
        Probability 5 (1968) 401-413.

        Examples
        --------
        >>> slope = two_state(mtbf_h=1000, mttr_h=4).unavailability_sensitivity()
        >>> print(f"{slope['up', 'down']:.4f} h, {slope['down', 'up']:.6f} h")
        3.9682 h, -0.015873 h
        """
        if len(self._classes) > 1:
            first = [self._states[c[0]] for c in self._classes]
            raise ValueError(
                "the chain must have one closed set of states for a sensitivity, got "
                f"{len(self._classes)}, with {first[0]!r} and {first[1]!r}"
            )
        p = self._steady_state
        up, down = self.availability, self.unavailability
        rewards = np.column_stack([~self._is_up, self._is_up]).astype(float)
        slope = {}
        collected = {}
        for i, j in self._arcs:
            if p[i] == 0:
                value = 0.0
            else:
                if i not in collected:
                    others = [k for k in range(len(p)) if k != i]
                    inner = Reduction(
                        self._rates[np.ix_(others, others)], self.generator[others, i]
                    )
                    collected[i] = inner.mean_until_gone(rewards[others])
                down_h, up_h = collected[i][j - (j > i)]
                value = float(p[i] * (up * down_h - down * up_h))
            slope[self._states[i], self._states[j]] = value
        return slope

    # -- reading arguments ------------------------------------------------------------------

    def _mask(self, name, states):
        mask = np.zeros(len(self._states), dtype=bool)
        for state in states:
            mask[self._position(name, state)] = True
        return mask

    def _position(self, name, state):
        try:
            return self._index[state]
        except TypeError:
            raise TypeError(f"{name} must name hashable states, got {state!r}") from None
        except KeyError:
            known = ", ".join(repr(s) for s in self._states[:6])
            more = ", ..." if len(self._states) > 6 else ""
            raise ValueError(
                f"{name} must name states of the chain ({known}{more}), got {state!r}"
            ) from None

    def _distribution(self, start):
        if start is None:
            return self._start
        p = np.zeros(len(self._states))
        if not isinstance(start, Mapping):
            p[self._position("start", start)] = 1.0
            return p
        for state, value in start.items():
            p[self._position("start", state)] = fraction(f"start[{state!r}]", value)
        total = math.fsum(p)
        if not abs(total - 1) <= 1e-9:
            raise ValueError(f"start must have probabilities that sum to 1, got a sum of {total!r}")
        return p / total


def long_run(rates, start: np.ndarray, classes: list[list[int]] | None = None) -> np.ndarray:
    """Give the long-run probabilities from a start, whatever the scale of the rates.

    >>> long_run(np.array([[0.0, 3e-200], [4e-200, 0.0]]), np.array([1.0, 0.0])) * 7
    array([4., 3.])
    """
    alive = reachable(rates, start > 0)
    classes = [c for c in (closed_classes(rates) if classes is None else classes) if alive[c[0]]]
    mass = np.array([start[c].sum() for c in classes])
    passing = np.setdiff1d(np.flatnonzero(alive), np.concatenate(classes))
    if len(passing) and len(classes) > 1:
        ends = np.column_stack([rates[np.ix_(passing, c)].sum(axis=1) for c in classes])
        inner = rates[np.ix_(passing, passing)]
        hours = Reduction(inner, ends.sum(axis=1)).time_until_gone(start[passing])
        mass += hours @ ends
    p = np.zeros(len(start))
    for members, share in zip(classes, mass / mass.sum() if len(classes) > 1 else [1.0]):
        p[members] = share * Reduction(rates[np.ix_(members, members)]).stationary()
    return p


def two_state(mtbf_h: float, mttr_h: float) -> MarkovModel:
    """Build the chain of one repairable unit, with the states "up" and "down".

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between failures in hours, > 0 and finite.
    mttr_h : float
        Mean time to restoration in hours, > 0 and finite.

    Returns
    -------
    MarkovModel

    Raises
    ------
    TypeError
        If an argument is no number.
    ValueError
        If an argument is not > 0 and finite.

    Notes
    -----
    With a = 1/mtbf_h and b = 1/mttr_h, U(t) = a/(a+b) [1 - exp(-(a+b) t)] from the up state.

    References
    ----------
    IEC 61703, Mathematical expressions for reliability, availability, maintainability and
    maintenance support terms.

    Examples
    --------
    >>> print(f"{two_state(mtbf_h=60_000, mttr_h=4).unavailability:.4g}")
    6.666e-05
    """
    failure = 1 / positive("mtbf_h", mtbf_h)
    return MarkovModel(
        {("up", "down"): failure, ("down", "up"): 1 / positive("mttr_h", mttr_h)}, up=["up"]
    )


def _states(name, states):
    if isinstance(states, (str, bytes)) or not isinstance(states, Iterable):
        raise TypeError(f"{name} must be an iterable of states, got {states!r}")
    return tuple(states)


def _mean_stay(share, per_h):
    if per_h > 0:
        return share / per_h
    return math.inf if share > 0 else 0.0


def _read_rate(name, value):
    rate = number(name, value)
    if not 0 <= rate < math.inf:
        raise ValueError(f"{name} must be >= 0 and finite, got {written(value)}")
    if rate > _FASTEST:
        raise ValueError(f"{name} must be at most {_FASTEST:g}, got {rate}")
    return rate


def _read_rates(rates, start):
    index: dict = {}
    arcs = {}
    for key, value in mapping("rates", rates, "(from, to) to rate per hour").items():
        if not isinstance(key, tuple) or len(key) != 2:
            raise TypeError(f"rates must have keys (from, to), got {key!r}")
        name = f"rates[{key!r}]"
        rate = _read_rate(name, value)
        if key[0] == key[1]:
            raise ValueError(f"{name} must lead to another state, got {key[0]!r} to itself")
        i, j = (index.setdefault(state, len(index)) for state in key)
        arcs[i, j] = rate
    if not index:
        if start is None or isinstance(start, Mapping):
            raise ValueError("rates must not be empty unless start or up names the one state, got {}")
        try:
            index[start] = 0
        except TypeError:
            raise TypeError(f"start must be a hashable state, got {start!r}") from None
    if len(index) > MOST_STATES:
        raise ValueError(f"rates must name at most {MOST_STATES} states, got {len(index)}")
    return index, arcs
