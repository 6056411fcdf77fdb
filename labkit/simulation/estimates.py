"""Means over lives, with confidence limits that hold with few outages too.

References
----------
M. P. Fay, E. J. Feuer, "Confidence intervals for directly standardized rates", Statistics in
Medicine 16 (1997) 791-801.
"""

import math
from dataclasses import dataclass

import numpy as np

# The gamma and the normal limits then differ by less than 1e-4 of the standard error.
_NORMAL_ABOVE = 1e8


@dataclass(frozen=True)
class Estimate:
    """Hold a mean over lives, its standard error and its two-sided confidence limits.

    Parameters
    ----------
    point : float
        The mean.
    standard_error : float
        Standard deviation of the mean, in the same unit.
    lower, upper : float
        Confidence limits, in the same unit.
    confidence : float
        Confidence level, in (0, 1).

    >>> share = Estimate(0.5, standard_error=0.125, lower=0.27, upper=0.78, confidence=0.95)
    >>> share.errors_off(0.75)
    2.0
    """

    point: float
    standard_error: float
    lower: float
    upper: float
    confidence: float

    def errors_off(self, exact: float) -> float:
        """Give by how many standard errors `exact` lies above the point."""
        return (exact - self.point) / self.standard_error


def estimate(mean, squares, largest, lives, confidence, *, unit, most):
    """Estimate the mean of numbers >= 0 from the mean, the sum of squares about it, the largest.

    Gamma limits for a sum of independent contributions, after Fay and Feuer: those of a Poisson
    count where the lives contribute 0 or 1, wider than the normal ones while the estimate rests
    on few lives, equal to them in the end. With five outages of unlike lengths seen, 90 % limits
    covered 86 % in trials, with 25 outages 92 %. `unit` is what a life contributes at most (or
    by one outage), where none has been seen; `most` is the end of the range of the mean.
    """
    from scipy.special import gammainccinv, gammaincinv, ndtri

    tail = (1 - confidence) / 2
    if mean == 0:
        # none in n lives: with more than -ln(tail) / n per life, one would have been seen
        return Estimate(0.0, 0.0, 0.0, min(-unit * math.log(tail) / lives, most), confidence)
    error = math.sqrt(squares / (lives - 1) / lives)
    if error <= 1e-15 * mean:
        # all lives alike; what is left is rounding
        return Estimate(mean, 0.0, mean, mean, confidence)
    shape, more = (mean / error) ** 2, (largest - mean) / lives
    if shape > _NORMAL_ABOVE:
        lower, upper = mean + error * ndtri(tail), mean - error * ndtri(tail)
    else:
        lower = gammaincinv(shape, tail) * mean / shape
        wide = error**2 + more**2
        upper = gammainccinv((mean + more) ** 2 / wide, tail) * wide / (mean + more)
    return Estimate(mean, error, float(lower), min(float(upper), most), confidence)


def estimate_of(values, confidence, *, unit, most):
    """Estimate the mean of the numbers themselves; see `estimate`."""
    mean = float(values.mean())
    squares = float(np.square(values - mean).sum())
    largest = float(values.max())
    return estimate(mean, squares, largest, values.size, confidence, unit=unit, most=most)
