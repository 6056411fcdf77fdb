"""Elimination of states without subtraction, the workhorse behind every mean value of a chain.

A chain is given by a matrix of rates, ``rates[i, j]`` from state i to state j (the diagonal is
not read), and by ``leak[i]``, the rate at which state i leaves for good. With D the diagonal of
all rates out, the matrix D - rates is reduced one state at a time, the last first. The one place
where ordinary elimination subtracts is the diagonal; Grassmann, Taksar and Heyman replace it by
the sum of the rates out of the state that are left. Every number is then a sum, product or
quotient of numbers >= 0, and the relative error of each result stays within a few units of
rounding times the number of states, however far apart the rates lie.

References
----------
W. K. Grassmann, M. I. Taksar, D. P. Heyman, "Regenerative analysis and steady state distributions
for Markov chains", Operations Research 33 (1985) 1107-1116.
C. A. O'Cinneide, "Entrywise perturbation theory and error analysis for Markov chains",
Numerische Mathematik 65 (1993) 109-120.
"""

import numpy as np

_BLOCK = 48


class Reduction:
    """Reduce a chain that leaks, or one that does not, to its first state.

    Parameters
    ----------
    rates : (n, n) array of float
        Rates per hour, >= 0; ``rates[i, j]`` leads from i to j. The diagonal is not read.
    leak : (n,) array of float, optional
        Rates per hour out of the chain, >= 0. None: nothing leaks, and the first state stays.

    Raises
    ------
    ArithmeticError
        If a state can neither leak nor reach the states before it (the caller must not pass such
        a chain), or only by a rate below the smallest number of the machine.

    Notes
    -----
    State k, when it is eliminated, has the rates w[k, j] to the states j < k left. Its
    way out is ``exits[k]``, the sum of these and of the leak; w[k, :k] then holds the
    probabilities of the next state, w[:k, k] the rates into k. States are taken in blocks, so
    that nearly all the work is matrix products.

    A unit fails once in 1000 h and is restored in 4 h; a second failure ends it:

    >>> rates = np.array([[0.0, 2e-3], [0.25, 0.0]])
    >>> Reduction(rates, leak=np.array([0.0, 1e-3])).mean_until_gone(np.ones(2))
    array([126500., 126000.])
    """

    def __init__(self, rates: np.ndarray, leak: np.ndarray | None = None):
        w = np.array(rates, dtype=float)
        n = len(w)
        gone = np.zeros(n) if leak is None else np.array(leak, dtype=float)
        exits = np.zeros(n)
        first = 1 if leak is None else 0
        high = n
        while high > first:
            low = max(first, high - _BLOCK)
            for k in range(high - 1, low - 1, -1):
                done = slice(k + 1, high)
                w[k, :k] += w[k, done] @ w[done, :k]
                w[:k, k] += w[:k, done] @ w[done, k]
                gone[k] += w[k, done] @ gone[done]
                total = w[k, :k].sum() + gone[k]
                if not total > 0:
                    raise ArithmeticError(
                        f"state number {k} has no way out that the machine can tell from zero"
                    )
                exits[k] = total
                w[k, :k] /= total
                gone[k] /= total
            if low:
                block = slice(low, high)
                w[:low, :low] += w[:low, block] @ w[block, :low]
                gone[:low] += w[:low, block] @ gone[block]
            high = low
        self._w = w
        self._exits = exits

    def stationary(self) -> np.ndarray:
        """Give the long-run probabilities of the chain that does not leak."""
        w, exits = self._w, self._exits
        p = np.zeros(len(w))
        p[0] = 1.0
        with np.errstate(over="ignore"):
            for k in range(1, len(w)):
                p[k] = (p[:k] @ w[:k, k]) / exits[k]
                if np.isinf(p[k]):  # beside it all that came before is nothing
                    p[:k], p[k] = 0.0, 1.0
                elif p[k] > 1.0:
                    p[: k + 1] /= p[k]
        return p / p.sum()

    def mean_until_gone(self, reward: np.ndarray) -> np.ndarray:
        """Give the mean reward collected until the chain is gone, for each first state.

        Parameters
        ----------
        reward : (n,) or (n, m) array of float
            Reward per hour in each state, >= 0. All ones: the mean time in hours.

        Returns
        -------
        array of float
            As the shape of `reward`: the solution x of (D - rates) x = reward.
        """
        w, exits = self._w, self._exits
        x = np.array(reward, dtype=float)
        with np.errstate(over="ignore", invalid="ignore"):
            for k in range(len(w) - 1, -1, -1):
                x[k] /= exits[k]
                into = np.flatnonzero(w[:k, k])  # a way that is not there adds nothing to infinity
                x[into] += np.multiply.outer(w[into, k], x[k])
            for k in range(1, len(w)):
                onto = np.flatnonzero(w[k, :k])
                x[k] += w[k, onto] @ x[onto]
        return x

    def time_until_gone(self, start: np.ndarray) -> np.ndarray:
        """Give the mean time spent in each state until the chain is gone.

        Parameters
        ----------
        start : (n,) array of float
            Probabilities of the first state (or any weights >= 0).

        Returns
        -------
        (n,) array of float
            Hours: the row vector y with y (D - rates) = start.
        """
        w, exits = self._w, self._exits
        y = np.array(start, dtype=float)
        with np.errstate(over="ignore"):
            for k in range(len(w) - 1, 0, -1):
                y[:k] += y[k] * w[k, :k]
            for k in range(len(w)):
                y[k] = (y[k] + y[:k] @ w[:k, k]) / exits[k]
        return y


def reachable(rates, sources: np.ndarray) -> np.ndarray:
    """Tell of each state whether it can be reached; sources a mask.

    >>> rates = np.array([[1, 0, 0], [0, 0, 2], [0, 3, 0]])
    >>> reachable(rates, np.array([False, True, False]))
    array([False,  True,  True])
    """
    from scipy.sparse.csgraph import dijkstra

    if not sources.any():
        return sources
    steps = dijkstra(rates > 0, indices=np.flatnonzero(sources), min_only=True)
    return np.isfinite(steps)


def closed_classes(rates) -> list[list[int]]:
    """Find the sets of states that are never left and hold together, by their first state.

    A chain has a unique long run exactly when there is one class.

    >>> rates = np.array([[0, 1, 1, 0], [0, 0, 0, 0], [0, 0, 0, 1], [0, 0, 1, 0]])
    >>> closed_classes(rates)
    [[1], [2, 3]]
    """
    from scipy.sparse.csgraph import connected_components

    ways = rates > 0
    count, number = connected_components(ways, connection="strong")
    before, after = (number[ends] for ends in ways.nonzero())
    closed = np.setdiff1d(np.arange(count), before[before != after])
    return sorted(np.flatnonzero(number == one).tolist() for one in closed)
