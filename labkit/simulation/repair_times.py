"""How long a repair takes: lognormal or fixed, each with its mean in hours."""

import math
from dataclasses import dataclass

import numpy as np

from labkit.arguments import amount, positive, read_fields


@dataclass(frozen=True)
class LognormalRepair:
    """Describe repairs whose logarithm is normal: most are short, a few very long.

    Parameters
    ----------
    mean_h : float
        Mean time to restoration, hours, > 0.
    sigma : float
        Standard deviation of the natural logarithm, > 0; 0.5 to 1.2 is usual.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    The median is mean_h exp(-sigma^2 / 2).

    References
    ----------
    IEC 60706-3 (maintainability: lognormal distribution of repair times).

    Examples
    --------
    >>> print(f"{LognormalRepair(4.0, 0.8).median_h:.3f} h")
    2.905 h
    """

    mean_h: float
    sigma: float

    def __post_init__(self):
        read_fields(self, positive, "mean_h", "sigma")

    @property
    def median_h(self) -> float:
        """Time within which half of the repairs end, hours."""
        return self.mean_h * math.exp(-(self.sigma**2) / 2)

    def draw(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Draw `count` repair times in hours with the generator `rng`."""
        return self.median_h * np.exp(self.sigma * rng.standard_normal(count))


@dataclass(frozen=True)
class FixedRepair:
    """Describe repairs that always take the same time.

    Parameters
    ----------
    mean_h : float
        Time to restoration, hours, >= 0.

    Raises
    ------
    TypeError, ValueError
        If `mean_h` is no number, or outside its range.

    Examples
    --------
    >>> FixedRepair(4.0).mean_h
    4.0
    """

    mean_h: float

    def __post_init__(self):
        read_fields(self, amount, "mean_h")

    def draw(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Give `count` times the same time, in hours; `rng` is not asked."""
        return np.full(count, self.mean_h)
