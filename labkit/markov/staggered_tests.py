"""Like channels whose faults only tests find: at once or staggered, and tests that do not see all.

Between two tests a channel that has failed unnoticed stays so. What counts is the time since its
last test: channels that are tested one after another are seldom all long untested at the same
time. What a test cannot find waits for the overhaul.
"""

import math
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from labkit.arguments import count, fraction, plain, positive, read_fields, times_h
from labkit.availability.quadrature import quadrature
from labkit.markov.proof_tests import tests_to_overhaul

# Points in each stretch of the integral: products of exponentials want some more than their sums.
_POINTS = 24
MOST_CHANNELS = 100


@dataclass(frozen=True)
class ProofTestedChannels:
    """Work out like channels with latent faults, tests at fixed times, and an overhaul.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time of a channel to a latent failure in hours, > 0.
    test_interval_h : float
        From test to test of one channel in hours, > 0.
    channels : int
        How many there are, 1 to 100.
    needed : int
        How many must work, 1 to `channels`.
    staggered : bool
        Whether the channels are tested one after another, `test_interval_h / channels` apart, or
        all at once.
    missed : float
        Share of the failures that no test finds, only the overhaul, 0 to 1. Such a fault is
        missed by every test, not by each one anew.
    overhaul_interval_h : float, optional
        From overhaul to overhaul in hours, a whole number of test intervals; all channels are
        as new after one. Needed where `missed` is above 0.
    common_cause : float
        Share of the failures that take all channels at once (beta), 0 to 1. Any test of any
        channel finds them, except for the share `missed`.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or outside its range.

    Notes
    -----
    Failures of constant rate; a fault found is put right in no time; tests take no time. With
    a(t) the time since the last test of a channel and c(t) since the overhaul, a channel is
    down with q(t) = 1 - exp(-[(1 - missed) a(t) + missed c(t)] (1 - common_cause) / MTBF). The
    mean over an overhaul interval is taken by Gauss and Legendre from test to test.

    The first terms, for two channels of which one is needed, without common cause: (x T)^2 / 3
    tested at once, 5 (x T)^2 / 24 staggered, with x = 1 / MTBF. A common cause: beta x T / 2 at
    once, beta x T / 4 staggered.

    References
    ----------
    M. Rausand, Reliability of Safety-Critical Systems, Wiley 2014, chapters 8 and 11 (staggered
    and partial tests; from memory). IEC 61508-6, Annex B (imperfect proof tests).

    Examples
    --------
    >>> at_once = ProofTestedChannels(100_000, test_interval_h=8760, channels=2)
    >>> in_turn = ProofTestedChannels(100_000, test_interval_h=8760, channels=2, staggered=True)
    >>> print(f"{at_once.unavailability:.3e} {in_turn.unavailability:.3e}")
    2.397e-03 1.517e-03
    """

    mtbf_h: float
    test_interval_h: float
    channels: int = 1
    needed: int = 1
    staggered: bool = False
    missed: float = 0.0
    overhaul_interval_h: float | None = None
    common_cause: float = 0.0

    def __post_init__(self):
        read_fields(self, positive, "mtbf_h", "test_interval_h")
        read_fields(self, partial(count, least=1, most=MOST_CHANNELS), "channels")
        read_fields(self, partial(count, least=1), "needed")
        read_fields(self, fraction, "missed", "common_cause")
        if self.needed > self.channels:
            raise ValueError(f"needed must be <= channels, {self.channels}, got {self.needed}")
        if not isinstance(self.staggered, bool):
            raise TypeError(f"staggered must be True or False, got {self.staggered!r}")
        tests_to_overhaul(self.test_interval_h, self.missed, self.overhaul_interval_h)

    @property
    def cycle_h(self) -> float:
        """Give the hours after which everything repeats."""
        return float(self.overhaul_interval_h or self.test_interval_h)

    def _since_test_h(self, t_h: np.ndarray) -> np.ndarray:
        """Give the hours since the last test of each channel, a row for each."""
        steps = np.arange(self.channels) / self.channels if self.staggered else np.zeros(
            self.channels)
        since_h = np.mod(t_h - steps[:, None] * self.test_interval_h, self.test_interval_h)
        # Before its first test a channel is as new as the overhaul left it.
        return np.minimum(since_h, t_h) if self.overhaul_interval_h else since_h

    def unavailability_at(self, t_h):
        """Give the chance that fewer than `needed` channels work at a time.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours since an overhaul; without overhauls, hours since the first channel was
            tested, long after the begin.

        Returns
        -------
        float or array of the shape of `t_h`
            Probability, 0 to 1.

        Raises
        ------
        TypeError, ValueError
            If a time is no number, negative or not finite.

        Examples
        --------
        >>> pair = ProofTestedChannels(100_000, test_interval_h=8760, channels=2, staggered=True)
        >>> [f"{down:.4f}" for down in pair.unavailability_at([0.0, 4379.0, 4381.0])]
        ['0.0000', '0.0036', '0.0000']
        """
        times = times_h("t_h", t_h)
        return plain(self._down(np.mod(times.ravel(), self.cycle_h)).reshape(times.shape))

    def _down(self, t_h: np.ndarray) -> np.ndarray:
        since_h = self._since_test_h(t_h)
        rate_per_h = 1.0 / self.mtbf_h
        found, hidden = 1.0 - self.missed, self.missed
        alone = (1.0 - self.common_cause) * rate_per_h * (found * since_h + hidden * t_h)
        all_at_once = self.common_cause * rate_per_h * (
            found * since_h.min(axis=0) + hidden * t_h
        )
        # at_least[m]: chance that m or more of the channels so far have failed, all terms >= 0
        limit = self.channels - self.needed + 1
        failed = np.zeros((limit + 1, t_h.size))
        failed[0] = 1.0
        for spent in alone:
            failed[1:] = failed[:-1] * -np.expm1(-spent) + failed[1:] * np.exp(-spent)
        return failed[-1] * np.exp(-all_at_once) - np.expm1(-all_at_once)

    @cached_property
    def unavailability(self) -> float:
        """Give the mean chance over an overhaul interval that fewer than `needed` work."""
        stretch_h = self.test_interval_h / (self.channels if self.staggered else 1)
        begins_h = np.arange(round(self.cycle_h / stretch_h)) * stretch_h
        inside_h, weights = quadrature(stretch_h, self.mtbf_h, _POINTS)
        down = self._down(np.add.outer(begins_h, inside_h).ravel()).reshape(len(begins_h), -1)
        return math.fsum(down @ weights) / (stretch_h * len(begins_h))

    @property
    def worst(self) -> float:
        """Give the highest chance that fewer than `needed` work: right before the cycle ends.

        Before every test that is due some channel, the hours since the tests are the same, and
        what no test finds has waited longest.
        """
        return float(self._down(np.nextafter([self.cycle_h], 0.0))[0])
