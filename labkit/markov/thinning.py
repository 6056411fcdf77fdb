"""Elimination without subtraction for large chains with few transitions per state.

States with few neighbours are eliminated first, each on its own, in tables that hold only the
transitions that exist. What is left becomes dense; labkit.markov.elimination takes it from there.
The numbers are the same sums, products and quotients of numbers >= 0 in another order, so the
results are as exact.

References
----------
W. K. Grassmann, M. I. Taksar, D. P. Heyman, Operations Research 33 (1985) 1107-1116.
H. M. Markowitz, "The elimination form of the inverse and its application to linear programming",
Management Science 3 (1957) 255-269 (the order of elimination).
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from labkit.markov.elimination import Reduction

_SCALE_ABOVE = 1e150


def reduce_chain(rates, leak: np.ndarray | None = None) -> Reduction | ThinReduction:
    """Reduce a chain in the way that suits how its rates are stored.

    Parameters
    ----------
    rates : (n, n) array of float, or scipy sparse array
        Rates per hour, >= 0; ``rates[i, j]`` leads from i to j. The diagonal is not read.
    leak : (n,) array of float, optional
        Rates per hour out of the chain, >= 0. None: nothing leaks.

    Returns
    -------
    Reduction or ThinReduction
        Both have the same methods.

    Raises
    ------
    ArithmeticError
        If a state that is eliminated has no way out.

    >>> reduce_chain(np.array([[0.0, 1.0], [4.0, 0.0]])).stationary()
    array([0.8, 0.2])
    """
    return ThinReduction(rates, leak) if hasattr(rates, "tocoo") else Reduction(rates, leak)


class ThinReduction:
    """Reduce a chain given by a sparse array; methods and results as of `Reduction`.

    Parameters
    ----------
    rates : scipy sparse array of shape (n, n)
        Rates per hour, >= 0; ``rates[i, j]`` leads from i to j. The diagonal is not read.
    leak : (n,) array of float, optional
        Rates per hour out of the chain, >= 0. None: nothing leaks.

    Raises
    ------
    ArithmeticError
        If a state that is eliminated has no way out.

    Notes
    -----
    The next state is the one with the smallest product of transitions in and out (Markowitz),
    until that product says that a dense matrix of the rest is cheaper.

    >>> from scipy.sparse import csr_array
    >>> ThinReduction(csr_array(np.array([[0.0, 1.0], [4.0, 0.0]]))).stationary()
    array([0.8, 0.2])
    """

    def __init__(self, rates, leak: np.ndarray | None = None):
        n = rates.shape[0]
        away = [{} for _ in range(n)]
        into = [set() for _ in range(n)]
        entries = rates.tocoo()
        for i, j, rate in zip(entries.row.tolist(), entries.col.tolist(), entries.data.tolist()):
            if i != j and rate > 0:
                away[i][j] = rate
                into[j].add(i)
        gone = [0.0] * n if leak is None else np.asarray(leak, dtype=float).tolist()
        left = n
        alive = [True] * n
        heap = [(len(into[k]) * len(away[k]), k) for k in range(n)]
        heapq.heapify(heap)
        self._steps = []
        while left > 1:
            work, k = heapq.heappop(heap)
            if not alive[k] or work != len(into[k]) * len(away[k]):
                continue
            if work > left * left / 3000 + 2:
                break
            alive[k] = False
            left -= 1
            self._steps.append(_eliminate(k, away, into, gone))
            for near in {*self._steps[-1].sources.tolist(), *self._steps[-1].targets.tolist()}:
                heapq.heappush(heap, (len(into[near]) * len(away[near]), near))

        self._n = n
        self._core = np.array([k for k in range(n) if alive[k]])
        place = {k: at for at, k in enumerate(self._core.tolist())}
        dense = np.zeros((left, left))
        for i in self._core.tolist():
            for j, rate in away[i].items():
                dense[place[i], place[j]] = rate
        self._dense = Reduction(dense, None if leak is None else np.array(gone)[self._core])

    def stationary(self) -> np.ndarray:
        """Give the long-run probabilities of the chain that does not leak; (n,), sum 1."""
        p = np.zeros(self._n)
        p[self._core] = self._dense.stationary()
        for step in reversed(self._steps):
            p[step.state] = (p[step.sources] @ step.inflow) / step.exit
            if p[step.state] > _SCALE_ABOVE:
                p /= p[step.state]
        return p / p.sum()

    def mean_until_gone(self, reward: np.ndarray) -> np.ndarray:
        """Give the mean reward collected until the chain is gone, for each first state."""
        x = np.array(reward, dtype=float)
        with np.errstate(over="ignore"):
            for step in self._steps:
                x[step.state] /= step.exit
                x[step.sources] += np.multiply.outer(step.inflow, x[step.state])
            x[self._core] = self._dense.mean_until_gone(x[self._core])
            for step in reversed(self._steps):
                x[step.state] += step.chances @ x[step.targets]
        return x

    def time_until_gone(self, start: np.ndarray) -> np.ndarray:
        """Give the mean time in hours spent in each state until the chain is gone."""
        y = np.array(start, dtype=float)
        with np.errstate(over="ignore"):
            for step in self._steps:
                y[step.targets] += y[step.state] * step.chances
            y[self._core] = self._dense.time_until_gone(y[self._core])
            for step in reversed(self._steps):
                y[step.state] = (y[step.state] + y[step.sources] @ step.inflow) / step.exit
        return y


@dataclass(slots=True, eq=False)
class _Elimination:
    """What the elimination of one state leaves: its exit rate, ways in and ways out."""

    state: int
    exit: float
    sources: np.ndarray
    inflow: np.ndarray
    targets: np.ndarray
    chances: np.ndarray


def _eliminate(k, away, into, gone):
    """Join the ways into state k with its ways out, in place."""
    total = sum(away[k].values()) + gone[k]
    if not total > 0:
        raise ArithmeticError(
            f"state number {k} has no way out that the machine can tell from zero"
        )
    chances = {j: rate / total for j, rate in away[k].items()}
    lost = gone[k] / total
    sources = list(into[k])
    inflow = []
    for j in chances:
        into[j].discard(k)
    for i in sources:
        rate = away[i].pop(k)
        inflow.append(rate)
        gone[i] += rate * lost
        row = away[i]
        for j, chance in chances.items():
            if j == i:
                continue
            if j in row:
                row[j] += rate * chance
            else:
                row[j] = rate * chance
                into[j].add(i)
    return _Elimination(
        k, total, np.array(sources, dtype=int), np.array(inflow, dtype=float),
        np.array(list(chances), dtype=int), np.array(list(chances.values()), dtype=float),
    )  # fmt: skip
