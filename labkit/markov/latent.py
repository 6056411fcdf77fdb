"""A standby that fails and nobody knows: how likely that is between two tests, and its price.

The pair is that of `labkit.markov.proof_tests.pair_with_tests`, with tests at exact times. Its
plain relatives stand beside it: the first term, (1 - diagnosed) x T / (2 x MTBF), and the chain of
`labkit.markov.pair` with the rate 2/T.
"""

from dataclasses import dataclass

import numpy as np

from labkit.arguments import amount, fraction, generator, positive
from labkit.markov.chain import MarkovModel
from labkit.markov.pair import redundant_pair
from labkit.markov.proof_tests import UNNOTICED, pair_with_tests
from labkit.wording import HOURS_PER_YEAR, percent

MINUTES_PER_YEAR = HOURS_PER_YEAR * 60.0
POINTS = 40
MOST_LIVES = 10**6


@dataclass(frozen=True, eq=False)
class LatentFaults:
    """Hold what a test interval makes of a standby whose faults diagnosis sees in part.

    Parameters
    ----------
    interval_h : float
        From test to test, in h.
    diagnosed : float
        Share of the standby's faults that are seen at once, 0 to 1.
    time_h, dead : ndarray
        Time in h through one interval, and the chance that the standby is dead unnoticed, in the
        long run.
    mean_dead : float
        Mean of that, 0 to 1.
    first_term : float
        (1 - diagnosed) x interval / (2 x MTBF), may pass 1.
    down_min, usual_min : float
        Down time of the pair in min a year: tests at exact times, and the rate 2/T.

    >>> latent_faults(4380, 0.9).down_min < latent_faults(8760, 0.9).down_min
    True
    """

    interval_h: float
    diagnosed: float
    time_h: np.ndarray
    dead: np.ndarray
    mean_dead: float
    first_term: float
    down_min: float
    usual_min: float

    @property
    def weeks(self) -> str:
        """From test to test, in words."""
        return f"{self.interval_h / 168:.0f} week{'s' if self.interval_h >= 1.5 * 168 else ''}"

    def asleep(self, share: float) -> str:
        """Write a share of the time in per cent: a small one too is more than 0.00 %."""
        return percent(share, 4 if 0 < share < 1e-4 else 2)


def latent_faults(
    interval_h: float, diagnosed: float = 0.9, *, mtbf_h: float = 60_000.0, mttr_h: float = 4.0,
    common_cause: float = 0.0, coverage: float = 1.0, test_h: float = 0.0,
) -> LatentFaults:
    """Work out what a test interval makes of the standby and of the pair.

    Parameters
    ----------
    interval_h : float
        From the begin of one test to the next in h, > `test_h` and finite.
    diagnosed : float
        Share of the standby's faults that are seen at once, 0 to 1.
    mtbf_h, mttr_h, common_cause, coverage, test_h
        As for `labkit.markov.proof_tests.pair_with_tests`; times in hours.

    Returns
    -------
    LatentFaults

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range.

    Examples
    --------
    >>> found = latent_faults(8760, 0.0)
    >>> print(f"{found.down_min / found.usual_min - 1:.1%}")
    4.2%
    """
    interval_h, mtbf_h = positive("interval_h", interval_h), positive("mtbf_h", mtbf_h)
    diagnosed, test_h = fraction("diagnosed", diagnosed), amount("test_h", test_h)
    if not test_h < interval_h:
        raise ValueError(f"test_h must be < interval_h = {interval_h}, got {test_h}")
    known = {"common_cause": common_cause, "coverage": coverage, "diagnosed": diagnosed,
             "test_interval_h": interval_h}
    exact = pair_with_tests(mtbf_h, mttr_h, test_h=test_h, **known)
    usual = redundant_pair(mtbf_h, mttr_h, **known)
    shares = dict(zip(exact.states, exact.steady_state(), strict=True))
    time_h, dead = _course(mtbf_h, mttr_h, known)
    return LatentFaults(
        interval_h, diagnosed, time_h, dead, float(shares[UNNOTICED]),
        (1 - diagnosed) * interval_h / (2 * mtbf_h), exact.unavailability * MINUTES_PER_YEAR,
        usual.unavailability * MINUTES_PER_YEAR,
    )


def _course(mtbf_h, mttr_h, known):
    """Return the chance of a dead standby through one interval, in the long run."""
    free = redundant_pair(mtbf_h, mttr_h, **known | {"test_interval_h": np.inf})
    time_h = np.linspace(0.0, known["test_interval_h"], POINTS + 1)
    periodic = pair_with_tests(mtbf_h, mttr_h, **known)
    start = dict(zip(periodic.states, map(float, periodic.after_cycle()), strict=True))
    free = MarkovModel(free.rates, free.up, start=start)
    return time_h, free.probabilities(time_h)[:, free.states.index(UNNOTICED)]


def latent_text(found: LatentFaults) -> str:
    """Say in words what a test interval makes of the standby and of the pair.

    >>> print(latent_text(latent_faults(8760, 0.0)).splitlines()[0])
    Test every 52 weeks; 0 % of the standby's faults are seen at once.
    """
    return "\n".join((
        f"Test every {found.weeks}; {found.diagnosed * 100:.3g} % of the standby's faults are "
        "seen at once.",
        f"Dead and nobody knows: {found.asleep(found.mean_dead)} of the time on the average, "
        f"{found.asleep(found.dead[-1])} right before a test.",
        f"Pair: {found.down_min:.3f} min a year down by this and by two failures at once.",
    ))


def periodic_lives(
    interval_h: float, *, mtbf_h: float = 60_000.0, mttr_h: float = 4.0, years: float,
    rng: np.random.Generator,
) -> tuple[float, float]:
    """Live through a pair whose standby faults are all latent, with tests at exact times.

    Parameters
    ----------
    interval_h : float
        From test to test in h, > 0.
    mtbf_h, mttr_h : float
        Of each controller in h, > 0.
    years : float
        How long to live, > 0.
    rng : numpy.random.Generator
        Source of all random numbers.

    Returns
    -------
    tuple of float
        Share of time with the standby dead and nobody knowing it, and its standard error by the
        method of batches.

    Raises
    ------
    ValueError
        If a number is outside its range.

    Notes
    -----
    A plain walk from event to event, without chain or matrix, as a check from outside of the exact
    model. Repairs that are known take their time too.

    Examples
    --------
    >>> share, error = periodic_lives(8760, years=20_000, rng=np.random.default_rng(1))
    >>> abs(share - latent_faults(8760, 0.0).mean_dead) < 4 * error
    True
    """
    interval_h, years = positive("interval_h", interval_h), positive("years", years)
    mtbf_h, mttr_h = positive("mtbf_h", mtbf_h), positive("mttr_h", mttr_h)
    generator(rng)
    batches, end_h = 20, years * HOURS_PER_YEAR / 20
    if end_h > MOST_LIVES * (mtbf_h / 2 + mttr_h):
        raise ValueError(f"years must bring at most {20 * MOST_LIVES} failures, got {years}")
    shares = []
    for _ in range(batches):
        now, latent_h = 0.0, 0.0
        while now < end_h:
            active, standby = now + rng.exponential(mtbf_h, 2)
            now = min(active, standby)
            if standby < active:
                test = (standby // interval_h + 1) * interval_h
                latent_h += min(active, test) - standby
                now = min(active, test)
            # Both outcomes end in one repair, or in two one after the other; then it starts anew.
            now += rng.exponential(mttr_h)
            if standby < active < test:
                now += rng.exponential(mttr_h)
        shares.append(latent_h / now)
    return float(np.mean(shares)), float(np.std(shares, ddof=1) / np.sqrt(batches))
