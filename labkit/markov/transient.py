"""Chains in time: the exponential of a rate matrix, each entry right however stiff it is.

The generator Q (rows sum to 0) is written as L (B - I) with B >= 0 and rows that sum to 1, so that

    exp(Q t) = sum over k of Poisson(k; L t) B^k

holds no subtraction (uniformisation). For short times the sum is applied to the start row. For long
times exp(Q h) is formed once for a short h and squared again and again; each time is put together
from its binary digits in units of h. Plain squaring doubles the relative error each time: after
40 doublings nothing is left. Here each squared matrix is put right: its diagonal follows from the
rest of its row, whose entries are sums of positive products. What is squared next is then an exact
matrix of transition probabilities whose off-diagonal entries are off by one more rounding, and
such an error does not grow with the number of steps that follow; it is the argument of
Grassmann, Taksar and Heyman for elimination, here for squaring. The error grows with the number of
doublings, not with the number of steps.

References
----------
J. Xue, Q. Ye, "Computing exponentials of essentially non-negative matrices entrywise to high
relative accuracy", Mathematics of Computation 82 (2013) 1577-1596.
A. Jensen, "Markoff chains as an aid in the study of Markoff processes", Skandinavisk
Aktuarietidskrift 36 (1953) 87-91 (uniformisation).
M. S. Paterson, L. J. Stockmeyer, "On the number of nonscalar multiplications necessary to evaluate
polynomials", SIAM Journal on Computing 2 (1973) 60-66.
"""

import math

import numpy as np

_DEGREE = 16
_SETTLED = 2.0**-51
_TERMS = 32
_MOST_STEPS = 1e300


def evolve(
    rates: np.ndarray, start: np.ndarray, times: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Give the probabilities of a chain, and the time spent in each state, at given times.

    Parameters
    ----------
    rates : (n, n) array of float
        Rates per hour, >= 0; ``rates[i, j]`` leads from i to j. The diagonal is not read.
    start : (n,) array of float, or (n, n) for a row of each first state
        Probabilities (or weights >= 0) at time 0.
    times : (m,) array of float
        Hours, >= 0, finite, in any order.

    Returns
    -------
    probabilities : (m, n) array of float
        Each row sums to the sum of `start`.
    hours : (m, n) array of float
        Mean time spent in each state from 0 to the time of the row.

    Raises
    ------
    ValueError
        If a time is so long that its product with the fastest rate exceeds 1e300.

    Notes
    -----
    Entries below 1e-300 may come out as 0. All times share one ladder of squarings.

    >>> rates = np.array([[0.0, 3.0], [4.0, 0.0]])
    >>> p, hours = evolve(rates, np.array([1.0, 0.0]), np.array([0.0, 1e6]))
    >>> (p * 7).round(12).tolist()
    [[7.0, 0.0], [4.0, 3.0]]
    """
    start = np.asarray(start, dtype=float)
    times = np.asarray(times, dtype=float)
    rates = np.array(rates, dtype=float)
    np.fill_diagonal(rates, 0.0)
    exits = rates.sum(axis=1)
    fastest = exits.max()
    if fastest == 0 or not len(times):
        return np.tile(start, (len(times), *[1] * start.ndim)), np.multiply.outer(times, start)
    # A power of two, so that products with it are exact, and at least twice the fastest exit, so
    # that no diagonal entry of the steps is a difference of nearly equal numbers.
    pace = 2.0 ** (math.frexp(fastest)[1] + 1)
    if times.max() > _MOST_STEPS / pace:
        raise ValueError(
            f"t_h must be <= {_MOST_STEPS:.0e} over the fastest rate per hour of rates "
            f"({fastest:g}), got {times.max()}"
        )
    return _by_squaring(rates, pace, start, times)


def transitions(rates: np.ndarray, hours: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the probabilities of going from each state to each other in a time.

    Parameters
    ----------
    rates : (n, n) array of float
        Rates per hour, >= 0; ``rates[i, j]`` leads from i to j. The diagonal is not read.
    hours : float
        Hours, >= 0, finite.

    Returns
    -------
    probabilities : (n, n) array of float
        exp(Q t); row i is for a start in state i and sums to 1.
    spent : (n, n) array of float
        Mean hours spent in each state; row i is for a start in state i and sums to `hours`.

    >>> p, spent = transitions(np.array([[0.0, 3.0], [4.0, 0.0]]), 1e6)
    >>> (p * 7).round(12).tolist()
    [[4.0, 3.0], [4.0, 3.0]]
    """
    p, spent = evolve(rates, np.eye(len(rates)), np.array([hours]))
    return p[0], spent[0]


def _by_squaring(rates, pace, start, times):
    """Carry one start row, or a whole matrix of them, to each time."""
    n = len(rates)
    steps = rates / pace
    np.fill_diagonal(steps, 1.0 - steps.sum(axis=1))
    h = 0.5 / pace
    far = pace * times >= 2 * n
    whole = [int(t / h) if is_far else 0 for t, is_far in zip(times, far)]
    rest = times - np.array([k * h if k else 0.0 for k in whole])
    p, hours = _series(lambda row: row @ steps, start, pace, rest, 0 if far.all() else n)
    if any(whole):
        _, unit = _series(lambda row: row @ steps, start, pace, np.array([h]), 0)
        _climb(_short(steps, 0.5), unit[0], whole, p, hours)
    total = start.sum(axis=-1, keepdims=True)
    return p * (total / p.sum(axis=-1, keepdims=True)), hours


def _series(step, start, pace, times, reach):
    """Sum the series of uniformisation for the start row and several short times at once.

    `reach` is the number of further terms, needed where a time is so short that states many
    steps away are met only in terms far beyond the likely number of steps.
    """
    x = pace * times
    count = reach + math.ceil(x.max() + 12 * math.sqrt(x.max())) + 40
    weights = np.array([_poisson(value, count) for value in x])
    p = np.zeros((len(times), start.size))
    hours = np.zeros_like(p)
    terms = np.empty((_TERMS, *start.shape))
    sums = np.empty_like(terms)
    term, passed = start, np.zeros_like(start)
    for low in range(0, count, _TERMS):
        high = min(low + _TERMS, count)
        for k in range(high - low):
            terms[k] = term
            sums[k] = passed
            passed = passed + term
            term = step(term)
        here = weights[:, low:high]
        rows = np.flatnonzero(here.any(axis=1))
        if len(rows):
            p[rows] += here[rows] @ terms[: high - low].reshape(high - low, -1)
            hours[rows] += here[rows] @ sums[: high - low].reshape(high - low, -1)
    shape = (len(times), *start.shape)
    return p.reshape(shape), hours.reshape(shape) / pace


def _poisson(x, count):
    """Give the first `count` Poisson probabilities of mean x, built outwards from the largest."""
    weights = np.zeros(count)
    if x == 0:
        weights[0] = 1.0
        return weights
    mode = int(x)
    weights[mode] = 1.0
    weights[mode + 1 :] = np.cumprod(x / np.arange(mode + 1, count))
    weights[:mode] = np.cumprod(np.arange(mode, 0, -1) / x)[::-1]
    return weights / weights.sum()


def _short(steps, x):
    """Give exp(x (steps - I)) for x <= 0.5 by a polynomial with positive coefficients."""
    c = np.cumprod([math.exp(-x)] + [x / k for k in range(1, _DEGREE + 1)])
    two = steps @ steps
    three = two @ steps
    four = two @ two
    result = c[-1] * four
    for low in (12, 8, 4, 0):
        result += c[low + 1] * steps + c[low + 2] * two + c[low + 3] * three
        result[np.diag_indices_from(result)] += c[low]
        if low:
            result = result @ four
    return _put_right(result)


def _put_right(step):
    """Let each row sum to 1 again, the diagonal following from the rest where it is the larger."""
    diagonal = step.diagonal().copy()
    np.fill_diagonal(step, 0.0)
    leaving = step.sum(axis=1)
    slow = leaving <= 0.5
    total = np.where(slow, 1.0, leaving + diagonal)
    step /= total[:, None]
    np.fill_diagonal(step, np.where(slow, 1.0 - leaving, diagonal / total))
    return step


def _climb(step, unit_hours, whole, p, hours):
    """Carry each row of `p` and `hours` on by its whole number of units h, in place."""
    settled = False
    for level in range(max(whole).bit_length()):
        rows = [r for r, k in enumerate(whole) if k >> level & 1]
        if rows:
            hours[rows] = unit_hours + hours[rows] @ step
            p[rows] = p[rows] @ step
        if level + 1 < max(whole).bit_length():
            unit_hours = unit_hours + unit_hours @ step
            if not settled:
                step = _put_right(step @ step)
                # Once all rows agree they agree for ever: a power's rows are averages of them.
                low = step.min(axis=0)
                settled = bool(np.all(step.max(axis=0) - low <= _SETTLED * low))
