"""The time until a chain first enters one of some states: its distribution and its moments."""

import math
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from labkit.arguments import count, plain, share, times_h
from labkit.markov.elimination import Reduction, reachable
from labkit.markov.transient import evolve


class FirstPassage:
    """Describe the time until a chain first enters one of some states.

    Made by `MarkovModel.first_passage`.

    Parameters
    ----------
    rates : (n, n) array of float
        Rates per hour, >= 0, ``rates[i, j]`` from i to j; the diagonal is not read.
    targets : (n,) array of bool
        The states that are waited for.
    start : (n,) array of float
        Probabilities at time 0, sum 1.

    Notes
    -----
    The targets are joined into one state without a way out. Mean and moments solve
    (D - R) m = 1 over the states before, by elimination without subtraction. The variance is the
    second moment less the square of the mean; for n states it cannot be less than 1/n of that
    square (Aldous and Shepp), so this loses at most a factor n + 1 in the last digits.

    References
    ----------
    M. F. Neuts, Matrix-Geometric Solutions in Stochastic Models, 1981, chapter 2.
    D. Aldous, L. Shepp, "The least variable phase type distribution is Erlang",
    Stochastic Models 3 (1987) 467-473.

    Examples
    --------
    Two stages of 1000 h each:

    >>> from labkit import MarkovModel
    >>> stages = MarkovModel({("a", "b"): 1e-3, ("b", "c"): 1e-3}, up=["a", "b"])
    >>> life = stages.first_passage(["c"])
    >>> print(f"{life.mean_h:.0f} {life.standard_deviation_h:.1f} {life.probability(2000):.6f}")
    2000 1414.2 0.593994
    """

    def __init__(self, rates: np.ndarray, targets: np.ndarray, start: np.ndarray):
        self._before = np.flatnonzero(~targets)
        self._inner = rates[np.ix_(self._before, self._before)]
        self._arriving = rates[np.ix_(self._before, np.flatnonzero(targets))].sum(axis=1)
        self._start = start[self._before]
        self._arrived = float(start[targets].sum())

    @cached_property
    def _live(self):
        """States met on the way from which the targets can be reached, and whether traps exist."""
        met = reachable(self._inner, self._start > 0)
        hopeful = reachable(self._inner.T, self._arriving > 0)
        return np.flatnonzero(met & hopeful), np.flatnonzero(met & ~hopeful)

    @cached_property
    def _reduction(self):
        live, traps = self._live
        lost = self._inner[np.ix_(live, traps)].sum(axis=1)
        return Reduction(self._inner[np.ix_(live, live)], self._arriving[live] + lost)

    @cached_property
    def _ever(self):
        """Probabilities of arriving at all and of never arriving."""
        live, traps = self._live
        never = float(self._start[traps].sum())
        if not len(traps):
            return 1.0, 0.0
        hours = self._reduction.time_until_gone(self._start[live])
        arrived = self._arrived + float(hours @ self._arriving[live])
        return arrived, never + float(hours @ self._inner[np.ix_(live, traps)].sum(axis=1))

    @property
    def probability_ever(self) -> float:
        """Give the probability that the targets are entered at all, 0 to 1."""
        return self._ever[0]

    def _course(self, t_h):
        times = times_h("t_h", t_h, finite=False)
        n = len(self._before)
        rates = np.zeros((n + 1, n + 1))
        rates[:n, :n] = self._inner
        rates[:n, n] = self._arriving
        finite = np.isfinite(times)
        p = np.zeros((*times.shape, n + 1))
        p[finite] = evolve(rates, np.append(self._start, self._arrived), times[finite])[0]
        return finite, p

    def probability(self, t_h: ArrayLike) -> float | np.ndarray:
        """Give the probability that the targets are entered by a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; infinity gives `probability_ever`.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            If a time is no number, negative or NaN.
        """
        finite, p = self._course(t_h)
        return plain(np.where(finite, p[..., -1], self._ever[0]))

    def survival(self, t_h: ArrayLike) -> float | np.ndarray:
        """Give the probability that the targets are not entered by a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0; infinity gives the chance that they never are.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            If a time is no number, negative or NaN.
        """
        finite, p = self._course(t_h)
        return plain(np.where(finite, p[..., :-1].sum(axis=-1), self._ever[1]))

    def density_per_h(self, t_h: ArrayLike) -> float | np.ndarray:
        """Give the probability density of the arrival at a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours, >= 0.

        Returns
        -------
        float, or (len(t_h),) array of float
            Density per hour, >= 0; 0 at infinity. A start within the targets is not in it.

        Raises
        ------
        TypeError, ValueError
            If a time is no number, negative or NaN.
        """
        _, p = self._course(t_h)
        return plain(p[..., :-1] @ self._arriving)

    def moment(self, order: int) -> float:
        """Give the mean of a power of the time.

        Parameters
        ----------
        order : int
            Power, >= 1.

        Returns
        -------
        float
            In hours to that power; infinite where the targets may never be entered.

        Raises
        ------
        TypeError, ValueError
            If `order` is no whole number from 1 to 170.
        """
        # The factorial of 171 is beyond what a float holds, and so is the moment.
        order = count("order", order, least=1, most=170)
        return self._mean_on_the_way(np.ones(len(self._before)), order)

    def mean_collected(self, rewards: np.ndarray) -> float:
        """Give the mean of what is collected on the way, by a reward in each state.

        Parameters
        ----------
        rewards : (n,) array of float
            What an hour in each state of the chain brings, >= 0.

        Returns
        -------
        float
            Infinite where the targets may never be entered.
        """
        return self._mean_on_the_way(rewards[self._before], 1)

    def _mean_on_the_way(self, value, order):
        live, traps = self._live
        if len(traps):
            return math.inf
        value = value[live]
        for k in range(1, order + 1):
            value = k * self._reduction.mean_until_gone(value)
        # Some may be infinite; what has no weight does not count.
        counted = self._start[live] > 0
        with np.errstate(over="ignore"):
            return float(self._start[live][counted] @ value[counted])

    def quantile_h(self, probability: float) -> float:
        """Give the time by which the targets are entered with a given probability.

        Parameters
        ----------
        probability : float
            Between 0 and 1, both excluded.

        Returns
        -------
        float
            Hours, >= 0; infinite if the targets are never entered that surely.

        Raises
        ------
        TypeError
            If `probability` is no number.
        ValueError
            If `probability` is not between 0 and 1.

        Examples
        --------
        >>> from labkit import MarkovModel
        >>> life = MarkovModel({("a", "b"): 1e-3}, up=["a"]).first_passage(["b"])
        >>> print(f"{life.quantile_h(0.5):.3f}")
        693.147
        """
        from scipy.optimize import brentq

        probability = share("probability", probability)
        if probability <= self._arrived:
            return 0.0
        if probability >= self.probability_ever:
            return math.inf

        def excess(log_t):
            """Compare the odds, which have all digits at both ends."""
            p = self._course(math.exp(log_t))[1]
            return _log_odds(p[-1], p[:-1].sum()) - _log_odds(probability, 1 - probability)

        if excess(-_LONGEST_LOG_H) >= 0:
            return 0.0
        if excess(_LONGEST_LOG_H) < 0:
            return math.inf
        return math.exp(brentq(excess, -_LONGEST_LOG_H, _LONGEST_LOG_H))

    @property
    def mean_h(self) -> float:
        """Give the mean time in hours; infinite where the targets may never be entered."""
        return self.moment(1)

    @property
    def variance_h2(self) -> float:
        """Give the variance in square hours; infinite where the mean is."""
        mean, second = self.mean_h, self.moment(2)
        return math.inf if math.isinf(second) else second - mean * mean

    @property
    def standard_deviation_h(self) -> float:
        """Give the standard deviation in hours; infinite where the mean is."""
        return math.sqrt(self.variance_h2)


_LONGEST_LOG_H = 400.0
_SMALLEST = 5e-324


def _log_odds(chance, rest):
    """Logarithm of a quotient; what is below all that a float holds counts as the smallest."""
    return math.log(max(chance, _SMALLEST)) - math.log(max(rest, _SMALLEST))
