"""Before a rate is taken from a log: is it constant, and what was known before the log began?

A rate from a log, events over hours, has a meaning only while the rate stays as it is. The two
trend tests here ask the log; each answers with how often chance alone would look like that. A
short log says little by itself: what was known before is put to it as a gamma prior.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from labkit.arguments import amount, positive, read_fields, sequence, share
from labkit.evidence.limits import Limits, inverse, rates_between, tails


@dataclass(frozen=True)
class LogTrend:
    """Hold what a trend test makes of the times of events.

    Parameters
    ----------
    statistic : float
        The figure of the test: for Laplace near a standard normal, positive where events come
        ever faster; for the power law chi-square with `degrees` degrees of freedom.
    chance : float
        Chance of a figure at least as far off, in either direction, at a constant rate.
    growth : float
        Exponent of the power law, number of events ~ t ** growth: 1 is a constant rate, above 1
        events come ever faster. nan where the test has no such estimate.
    degrees : int
        Degrees of freedom; 0 where there are none.

    Examples
    --------
    >>> LogTrend(statistic=-1.33, chance=0.18, growth=float("nan")).says(0.05)
    'no trend shown'
    """

    statistic: float
    chance: float
    growth: float
    degrees: int = 0

    def says(self, level: float = 0.05) -> str:
        """Say in words what a test at this level shows.

        Parameters
        ----------
        level : float
            Largest `chance` that counts as shown, in (0, 1).

        Returns
        -------
        str
            "ever faster", "ever slower" or "no trend shown". No trend shown is no proof that
            there is none: a short log shows only a strong one.

        Raises
        ------
        TypeError, ValueError
            If the level is no number in (0, 1).
        """
        if self.chance > share("level", level):
            return "no trend shown"
        rise = self.growth - 1 if self.degrees else self.statistic
        return "ever faster" if rise > 0 else "ever slower"


def _times(times_h, end_h):
    times_h = [positive("every value of times_h", one) for one in sequence("times_h", times_h)]
    for before, after in itertools.pairwise(times_h):
        if before > after:
            raise ValueError(f"times_h must be in order of time, got {after} after {before}")
    if end_h is None:
        # The log ends with its last event: that one says nothing about where in time it fell.
        times_h, end_h = times_h[:-1], (times_h or [math.nan])[-1]
    elif times_h and positive("end_h", end_h) < times_h[-1]:
        raise ValueError(f"end_h must be >= the last of times_h, {times_h[-1]}, got {end_h}")
    if len(times_h) < 3:
        raise ValueError(
            f"times_h must hold at least 3 events before the end, got {len(times_h)}")
    return times_h, float(end_h)


def laplace_trend(times_h: Sequence[float], end_h: float | None = None) -> LogTrend:
    """Test whether events come ever faster or ever slower, by where in the log they lie.

    Parameters
    ----------
    times_h : sequence of float
        Hours from the begin of the log to each event, in order, each > 0. Operating hours, if
        only these can bring an event.
    end_h : float, optional
        When the log ended, in hours; a time set beforehand. Default: with the last event, which
        then counts as the end and not as an event.

    Returns
    -------
    LogTrend
        `chance` by the normal law, good from four events on.

    Raises
    ------
    TypeError, ValueError
        If a time is no number > 0, the times are not in order or lie after the end, or fewer
        than three events are left.

    Notes
    -----
    At a constant rate the n events lie as n uniform draws over the log, so that their sum has
    the mean n T / 2 and the variance n T^2 / 12. Events that lie late speak for a rising rate.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.2.3.4 (which gives the sign the other
    way round: positive for improvement); D. R. Cox, P. A. W. Lewis, The Statistical Analysis of
    Series of Events, Methuen 1966.

    Examples
    --------
    >>> trend = laplace_trend([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500)
    >>> f"{trend.statistic:.2f}, chance {trend.chance:.2f}: {trend.says()}"
    '-1.33, chance 0.18: no trend shown'
    """
    times_h, end_h = _times(times_h, end_h)
    number = len(times_h)
    off = math.fsum(time_h / end_h - 0.5 for time_h in times_h)
    statistic = off * math.sqrt(12.0 / number)
    return LogTrend(statistic, math.erfc(abs(statistic) / math.sqrt(2.0)), math.nan)


def power_law_trend(times_h: Sequence[float], end_h: float | None = None) -> LogTrend:
    """Test a constant rate against one that goes with a power of time, and estimate the power.

    Parameters
    ----------
    times_h, end_h
        As for `laplace_trend`, in hours.

    Returns
    -------
    LogTrend
        `statistic` is 2 sum ln(T / t), `growth` the estimate of the power without bias,
        `chance` exact for any number of events.

    Raises
    ------
    TypeError, ValueError
        As `laplace_trend`.

    Notes
    -----
    With n events before the end T, 2 sum ln(T / t) is chi-square with 2 n degrees of freedom at
    a constant rate; a small figure means that events lie late. The estimate of the power is
    (n - 1) / sum ln(T / t).

    References
    ----------
    MIL-HDBK-189 (power-law process); NIST/SEMATECH e-Handbook of Statistical Methods,
    sec. 8.2.3.4 (the Military Handbook test).

    Examples
    --------
    >>> trend = power_law_trend([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500)
    >>> f"{trend.statistic:.2f} with {trend.degrees}, t ** {trend.growth:.2f}: {trend.says(0.1)}"
    '37.23 with 20, t ** 0.48: ever slower'
    """
    from scipy.special import gammainc, gammaincc

    times_h, end_h = _times(times_h, end_h)
    number = len(times_h)
    half = math.fsum(math.log(end_h / time_h) for time_h in times_h)
    chance = min(1.0, 2 * min(float(gammainc(number, half)), float(gammaincc(number, half))))
    growth = (number - 1) / half if half > 0 else math.inf
    return LogTrend(2 * half, chance, growth, 2 * number)


@dataclass(frozen=True)
class RatePrior:
    """Hold what is known of a rate: as much as if `events` had been seen in `exposure_h`.

    A gamma distribution of the rate, and what a log adds to it is another one. Events need not
    be whole.

    Parameters
    ----------
    events : float
        Shape of the gamma distribution, > 0.
    exposure_h : float
        Hours; its scale is 1 / `exposure_h`, > 0. ``RatePrior(0.5, 1e-9)`` knows nothing
        (Jeffreys).

    Raises
    ------
    TypeError, ValueError
        If an argument is no number > 0 and finite.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.2.5 and 8.4.6.

    Examples
    --------
    >>> known = RatePrior(events=2.0, exposure_h=80_000)
    >>> seen = known.with_log(failures=0, exposure_h=40_000)
    >>> limits = seen.mtbf_limits(confidence=0.8, sided="lower")
    >>> f"{limits.point:.0f} h, surely {limits.lower:.0f} h"
    '60000 h, surely 40076 h'
    """

    events: float
    exposure_h: float

    def __post_init__(self):
        read_fields(self, positive, "events", "exposure_h")

    def with_log(self, failures: float, exposure_h: float) -> "RatePrior":
        """Give what is known once a log is added.

        Parameters
        ----------
        failures : float
            Failures in the log, >= 0.
        exposure_h : float
            Its unit-hours, >= 0.

        Returns
        -------
        RatePrior

        Raises
        ------
        TypeError, ValueError
            If an argument is no number >= 0 and finite.
        """
        return RatePrior(
            self.events + amount("failures", failures),
            self.exposure_h + amount("exposure_h", exposure_h),
        )

    def rate_limits(self, *, confidence: float = 0.9, sided: str = "two") -> Limits:
        """Give the mean of the rate per hour, and the limits that hold it with this chance.

        Parameters
        ----------
        confidence : float
            Chance that the rate lies within the limits, in (0, 1).
        sided : {"two", "lower", "upper"}
            Which limits share the rest.

        Returns
        -------
        Limits
            Per hour.

        Raises
        ------
        TypeError, ValueError
            If an argument is outside its range.
        """
        limits = rates_between(
            self.events, self.events, self.exposure_h, *tails(confidence, sided))
        return Limits(self.events / self.exposure_h, *limits, confidence, sided)

    def mtbf_limits(self, *, confidence: float = 0.9, sided: str = "two") -> Limits:
        """Give the MTBF of the mean rate in hours, and the limits that hold it with this chance.

        Parameters
        ----------
        confidence, sided
            As for `rate_limits`; "lower" claims the lower limit of the MTBF.

        Returns
        -------
        Limits
            In hours.

        Raises
        ------
        TypeError, ValueError
            If an argument is outside its range.
        """
        below, above = tails(confidence, sided)
        slow, fast = rates_between(self.events, self.events, self.exposure_h, above, below)
        return Limits(self.exposure_h / self.events, inverse(fast), inverse(slow), confidence, sided)


def rate_prior(likely_mtbf_h: float, low_mtbf_h: float, *, surely: float = 0.95) -> RatePrior:
    """Turn what people say of an MTBF into a gamma prior of the rate.

    Parameters
    ----------
    likely_mtbf_h : float
        The MTBF in hours that is as likely too high as too low, > `low_mtbf_h`.
    low_mtbf_h : float
        The MTBF in hours that is surely reached, > 0.
    surely : float
        How surely, in (0.5, 1).

    Returns
    -------
    RatePrior

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or outside its range, or if the two lie so close together
        that more than 1e8 events would stand behind them.

    Notes
    -----
    The shape is where the `surely` quantile over the median is `likely_mtbf_h / low_mtbf_h`.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.2.5 (the 50/95 method).

    Examples
    --------
    >>> prior = rate_prior(600, 250)
    >>> f"{prior.events:.3f} events in {prior.exposure_h:.1f} h"
    '2.863 events in 1522.5 h'
    """
    from scipy.optimize import brentq
    from scipy.special import gammainccinv, gammaincinv

    ratio = positive("likely_mtbf_h", likely_mtbf_h) / positive("low_mtbf_h", low_mtbf_h)
    if not ratio > 1:
        raise ValueError(f"likely_mtbf_h must be > low_mtbf_h, {low_mtbf_h}, got {likely_mtbf_h}")
    if not share("surely", surely) > 0.5:
        raise ValueError(f"surely must be > 0.5 and < 1, got {surely}")

    def excess(log_events):
        events = math.exp(log_events)
        above = float(gammainccinv(events, 1 - surely)) / float(gammaincinv(events, 0.5))
        return math.log(above) - math.log(ratio)

    most, least = math.log(1e8), math.log(1e-2)
    if excess(most) > 0:
        raise ValueError(
            f"likely_mtbf_h must lie further above low_mtbf_h, {low_mtbf_h}, got {likely_mtbf_h}"
        )
    if excess(least) < 0:
        raise ValueError(
            f"likely_mtbf_h must lie nearer to low_mtbf_h, {low_mtbf_h}, got {likely_mtbf_h}"
        )
    events = math.exp(brentq(excess, least, most))
    return RatePrior(events, float(gammaincinv(events, 0.5)) * float(likely_mtbf_h))
