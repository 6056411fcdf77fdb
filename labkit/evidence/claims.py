"""What a claim costs: trials, hours of observation, spares in stock.

The other direction of `labkit.evidence.limits`: the claim is given, and the answer is how much
must be watched, tried or kept for it. Quantiles are SciPy's.
"""

from bisect import bisect_left
from collections.abc import Callable

from labkit.arguments import amount, count, positive, share

# A stock twice as large can still be counted.
MOST_DEMAND = 1e14


def trials_needed(success: float, confidence: float, *, failures_allowed: int = 0) -> int:
    """Return how many trials show a chance of success, with some failures allowed.

    Parameters
    ----------
    success : float
        Chance of success to be shown, in (0, 1).
    confidence : float
        Confidence of the claim, in (0, 1).
    failures_allowed : int
        Failures among the trials with which the claim still stands, >= 0.

    Returns
    -------
    int
        The smallest number n with P(at most the allowed failures in n trials) <= 1 - confidence
        at the claimed chance.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    Without a failure, n = ceil(ln(1 - confidence) / ln(success)). A tie to 12 figures counts as
    reached. The number of failures allowed is to be fixed before the first trial.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 7.2.4 and 8.3.1.

    Examples
    --------
    >>> trials_needed(0.95, 0.95), trials_needed(0.90, 0.95, failures_allowed=1)
    (59, 46)
    """
    from scipy.special import betainc

    success = share("success", success, margin=1e-12)
    confidence = share("confidence", confidence, margin=1e-12)
    failures_allowed = count("failures_allowed", failures_allowed)
    enough = (1 - confidence) * (1 + 1e-12)

    def shown(trials):
        chance = betainc(trials - failures_allowed, failures_allowed + 1, success)
        return chance <= enough

    return _smallest(shown, failures_allowed + 1)


def observation_needed_h(
    mtbf_h: float, confidence: float, *, failures_allowed: int = 0
) -> float:
    """Return how many unit-hours show an MTBF, with some failures allowed.

    Parameters
    ----------
    mtbf_h : float
        MTBF to be shown, hours, > 0.
    confidence : float
        Confidence of the claim (one-sided), in (0, 1).
    failures_allowed : int
        Failures with which the claim still stands, >= 0.

    Returns
    -------
    float
        Unit-hours, > 0.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    mtbf_h chi2(confidence; 2r + 2) / 2: the exposure at which the one-sided lower limit of
    `labkit.evidence.limits.mtbf_limits` reaches the claim. Constant failure rate; time-censored.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.3.1.2.

    Examples
    --------
    >>> print(f"{observation_needed_h(60_000, 0.9):.0f} h")
    138155 h
    """
    from scipy.special import gammaincinv

    mtbf_h = positive("mtbf_h", mtbf_h)
    confidence = share("confidence", confidence, margin=1e-12)
    shape = count("failures_allowed", failures_allowed) + 1
    return mtbf_h * float(gammaincinv(shape, confidence))


def running_out_chance(expected_demand: float, spares: int) -> float:
    """Return the chance that more spares are wanted than are in stock.

    Parameters
    ----------
    expected_demand : float
        Mean number of failures during the delivery time: units x delivery time / MTBF, >= 0.
    spares : int
        Spares in stock, >= 0.

    Returns
    -------
    float
        Probability in [0, 1] that the demand during one delivery time exceeds the stock.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    Poisson demand: constant failure rate of all units together, one order per failure.

    References
    ----------
    IEC 62550 (provisioning of spare parts); Poisson distribution.

    >>> demand = 4 * 90 * 24 / 60_000
    >>> print(", ".join(f"{running_out_chance(demand, n):.2%}" for n in (0, 1, 2)))
    13.41%, 0.94%, 0.04%
    """
    from scipy.special import gammainc

    expected_demand = amount("expected_demand", expected_demand)
    return float(gammainc(count("spares", spares) + 1, expected_demand))


def spares_needed(expected_demand: float, target: float) -> int:
    """Return the smallest stock that does not run out, with a given probability.

    Parameters
    ----------
    expected_demand : float
        Mean number of failures during the delivery time, 0 to 1e14.
    target : float
        Probability of not running out, in (0, 1).

    Returns
    -------
    int
        Spares in stock, >= 0.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    Poisson demand, as in `running_out_chance`.

    References
    ----------
    IEC 62550 (provisioning of spare parts).

    Examples
    --------
    >>> spares_needed(4 * 90 * 24 / 60_000, 0.99)
    1
    """
    if amount("expected_demand", expected_demand) > MOST_DEMAND:
        raise ValueError(f"expected_demand must be <= {MOST_DEMAND:g}, got {expected_demand:g}")
    target = share("target", target, margin=1e-12)
    running_out = 1 - target
    return _smallest(lambda stock: running_out_chance(expected_demand, stock) <= running_out, 0)


def _smallest(is_enough: Callable[[int], bool], least: int) -> int:
    """Return the smallest number >= `least` that is enough, where every larger one is too."""
    enough = least
    while not is_enough(enough):
        enough = 2 * enough + 1
    return bisect_left(range(enough), True, lo=least, key=is_enough)
