"""Parts that age: the older, the more likely to fail, so that replacing them in time can pay.

A battery, a fan or a relay wears out. All other models here have constant rates; this one says
which rate stands for such a part over the years, and how wrong it would be to take one without
asking how old the part becomes.
"""

import math
from dataclasses import dataclass

from labkit import arguments
from labkit.availability.parts import Part

# Beyond these no life is known, and the powers leave the range of a double.
SHAPES = (0.1, 100.0)


@dataclass(frozen=True)
class Ageing:
    """Describe a life by Weibull's law, with replacement by a new part at a failure or an age.

    Parameters
    ----------
    scale_h : float
        The age in hours that 36.8 % of the parts reach, > 0.
    shape : float
        How the failure rate goes with age: 1 constant, above 1 it grows, 0.1 to 100. Wear is
        often 2 to 4 (common practice).

    Raises
    ------
    TypeError, ValueError
        If an argument is no number, or outside its range.

    Notes
    -----
    R(t) = exp(-(t / scale) ** shape). A part that fails, or that reaches the age of
    replacement, is replaced by a new one, and its life begins anew (age replacement). Ages are
    operating hours.

    References
    ----------
    R. E. Barlow, F. Proschan, Mathematical Theory of Reliability, Wiley 1965, chapter 4 (age
    replacement). IEC 61649 (Weibull analysis).

    Examples
    --------
    A battery that lives eight years, left to fail or replaced every five:

    >>> battery = Ageing(scale_h=70_080, shape=4)
    >>> f"{battery.failures_per_h() * 8760:.3f} and {battery.failures_per_h(43_800) * 8760:.3f}"
    '0.138 and 0.029'
    """

    scale_h: float
    shape: float

    def __post_init__(self):
        arguments.read_fields(self, arguments.positive, "scale_h", "shape")
        if not SHAPES[0] <= self.shape <= SHAPES[1]:
            raise ValueError(f"shape must be {SHAPES[0]:g} to {SHAPES[1]:g}, got {self.shape:g}")

    def hazard_per_h(self, age_h: float) -> float:
        """Give the failure rate at an age.

        Parameters
        ----------
        age_h : float
            Hours, > 0.

        Returns
        -------
        float
            Failures per hour of a part that has reached this age.

        Raises
        ------
        TypeError, ValueError
            If the age is no number > 0 and finite.
        """
        age_h = arguments.positive("age_h", age_h)
        return self.shape / age_h * self._spent(age_h)

    def _spent(self, age_h: float) -> float:
        """Give (age / scale) ** shape; infinite beyond the largest number."""
        if math.isinf(age_h):
            return math.inf
        try:
            return math.exp(self.shape * (math.log(age_h) - math.log(self.scale_h)))
        except OverflowError:
            return math.inf

    def failure_chance(self, age_h: float) -> float:
        """Give the chance that a new part fails before an age.

        Parameters
        ----------
        age_h : float
            Hours, > 0; may be infinite.

        Returns
        -------
        float
            Probability, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            If the age is no number > 0.
        """
        return -math.expm1(-self._spent(_age("age_h", age_h)))

    def mean_use_h(self, replace_h: float = math.inf) -> float:
        """Give the mean age at which a part is replaced, failed or not.

        Parameters
        ----------
        replace_h : float
            Age of replacement in hours, > 0; infinite for none, and then the mean life.

        Returns
        -------
        float
            Hours.

        Raises
        ------
        TypeError, ValueError
            If the age is no number > 0.
        """
        from scipy.special import gammainc

        spent = self._spent(_age("replace_h", replace_h))
        if spent < 1e-17:
            return float(replace_h)  # nobody fails before
        share = 1.0 if math.isinf(spent) else float(gammainc(1.0 / self.shape, spent))
        return self.scale_h * math.gamma(1.0 + 1.0 / self.shape) * share

    def failures_per_h(self, replace_h: float = math.inf) -> float:
        """Give the mean failure rate of a part that is replaced at an age.

        Parameters
        ----------
        replace_h : float
            Age of replacement in hours, > 0; infinite for none.

        Returns
        -------
        float
            Failures per hour of operation, in the long run.

        Raises
        ------
        TypeError, ValueError
            If the age is no number > 0.
        """
        replace_h = _age("replace_h", replace_h)
        return self.failure_chance(replace_h) / self.mean_use_h(replace_h)

    def part(self, name: str, *, mttr_h: float, replace_h: float = math.inf) -> Part:
        """Give the part of a constant rate that fails as often.

        Parameters
        ----------
        name : str
            Its name.
        mttr_h : float
            Mean time to restoration after a failure in hours, > 0.
        replace_h : float
            Age of replacement in hours, > 0; infinite for none.

        Returns
        -------
        Part
            Right for long-run figures, which know a part by its unavailability and how often it
            fails. Not for a mission or the first years: a new part fails less often than this.
            Planned replacements count no time down.

        Raises
        ------
        TypeError, ValueError
            If an argument is outside its range.
        """
        return Part(name, mtbf_h=1.0 / self.failures_per_h(replace_h), mttr_h=mttr_h)

    def unavailability(
        self, *, mttr_h: float, replace_h: float = math.inf, planned_h: float = 0.0
    ) -> float:
        """Give the share of time in which the part is down, failed or being replaced.

        Parameters
        ----------
        mttr_h : float
            Mean time to restoration after a failure in hours, > 0.
        replace_h : float
            Age of replacement in hours, > 0; infinite for none.
        planned_h : float
            How long a planned replacement takes in hours, >= 0.

        Returns
        -------
        float
            0 to 1.

        Raises
        ------
        TypeError, ValueError
            If an argument is outside its range.
        """
        replace_h = _age("replace_h", replace_h)
        fails = self.failure_chance(replace_h)
        reaches = math.exp(-self._spent(replace_h))
        down_h = fails * arguments.positive("mttr_h", mttr_h)
        down_h += reaches * arguments.amount("planned_h", planned_h)
        return down_h / (self.mean_use_h(replace_h) + down_h)

    def best_replacement_h(self, *, failure_cost: float, planned_cost: float) -> float:
        """Find the age of replacement at which the part costs least for each hour of operation.

        Parameters
        ----------
        failure_cost : float
            What a failure costs, with all that it brings, > 0, in any unit; hours down are one.
        planned_cost : float
            What a planned replacement costs in the same unit, > 0.

        Returns
        -------
        float
            Hours; infinite where no planned replacement pays: the part does not age, a failure
            costs no more than a replacement, or no part reaches the age.

        Raises
        ------
        TypeError, ValueError
            If a cost is no number > 0 and finite.

        Notes
        -----
        The age T solves h(T) M(T) - F(T) = planned / (failure - planned), with the failure rate
        h, the mean use M and the failure chance F; for a shape above 1 there is one such age.

        Examples
        --------
        >>> battery = Ageing(scale_h=70_080, shape=4)
        >>> years = battery.best_replacement_h(failure_cost=5000, planned_cost=400) / 8760
        >>> f"{years:.1f} years"
        '3.3 years'
        """
        from scipy.optimize import brentq

        failure_cost = arguments.positive("failure_cost", failure_cost)
        planned_cost = arguments.positive("planned_cost", planned_cost)
        if self.shape <= 1.0 or planned_cost >= failure_cost:
            return math.inf
        goal = planned_cost / (failure_cost - planned_cost)

        def excess(log_age):
            age_h = math.exp(log_age)
            gain = self.hazard_per_h(age_h) * self.mean_use_h(age_h) - self.failure_chance(age_h)
            return gain - goal

        # below the one even h(T) T is less than the goal; the other age is reached by 1e-476
        low, high = (math.log(self.scale_h) + power / self.shape
                     for power in (math.log(goal / self.shape), 7.0))
        if excess(high) < 0:
            return math.inf
        return math.exp(brentq(excess, low, high))


def _age(name: str, age_h: float) -> float:
    if arguments.number(name, age_h) == math.inf:
        return math.inf
    return arguments.positive(name, age_h)
