"""Monte Carlo: live through a chain or a plant many times, and say how sure the result is.

A *life* runs from 0 to the horizon. Every life is drawn independently of the others, so the mean
of a figure over the lives has a standard error, and every result here carries its confidence
limits. One long life alone is no measurement: it misses by percents.

Random numbers come from the `numpy.random.Generator` that is passed in. The same generator,
freshly seeded, gives the same result on any number of cores.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np

from labkit.arguments import count, generator, number, positive, share
from labkit.simulation import block_lives as blocklives
from labkit.simulation import chain_lives as chainlives
from labkit.simulation.batches import run_batches
from labkit.simulation.chain_tables import MOST_DRAWN, ChainTables, refuse_endless
from labkit.simulation.estimates import Estimate, estimate, estimate_of


@dataclass(frozen=True, eq=False)
class Lives:
    """Hold what the lives came to.

    Attributes
    ----------
    horizon_h : float
        Length of each life, hours.
    lives_asked : int
        Lives asked for; fewer are done if the work was stopped.
    confidence : float
        Confidence level of all limits.
    down_h, outages, first_outage_h : (lives,) arrays
        For each life: hours down, outages begun, time of the first (infinite if none, 0 if the
        life begins down, which is no outage begun).
    events : int
        Changes of state of all lives together.
    """

    horizon_h: float
    lives_asked: int
    confidence: float
    down_h: np.ndarray = field(repr=False)
    outages: np.ndarray = field(repr=False)
    first_outage_h: np.ndarray = field(repr=False)
    events: int

    @property
    def lives(self) -> int:
        """Lives done."""
        return self.down_h.size

    @property
    def stopped(self) -> bool:
        """Tell whether the work was stopped before all lives were done."""
        return self.lives < self.lives_asked

    @property
    def unavailability(self) -> Estimate:
        """Share of the time from 0 to the horizon that the system is down, 0 to 1."""
        return estimate_of(self.down_h / self.horizon_h, self.confidence, unit=1.0, most=1.0)

    @property
    def outages_per_h(self) -> Estimate:
        """Outages begun per hour from 0 to the horizon."""
        per_h = 1 / self.horizon_h
        return estimate_of(self.outages * per_h, self.confidence, unit=per_h, most=math.inf)

    def reliability(self, t_h: float) -> Estimate:
        """Estimate the probability of no outage from 0 to a time.

        Parameters
        ----------
        t_h : float
            Hours, from 0 to the horizon.

        Returns
        -------
        Estimate
            Probability, 0 to 1, with exact binomial limits.

        Raises
        ------
        TypeError, ValueError
            If `t_h` is no number, or outside its range.

        References
        ----------
        Clopper and Pearson, Biometrika 26 (1934), p. 404.
        """
        from scipy.special import betainccinv, betaincinv

        if not 0 <= number("t_h", t_h) <= self.horizon_h:
            raise ValueError(f"t_h must be from 0 to horizon_h = {self.horizon_h}, got {t_h}")
        good = int(np.count_nonzero(self.first_outage_h > t_h))
        failed, tail = self.lives - good, (1 - self.confidence) / 2
        lower = float(betaincinv(good, failed + 1, tail)) if good else 0.0
        upper = float(betainccinv(good + 1, failed, tail)) if failed else 1.0
        point = good / self.lives
        error = math.sqrt(point * (1 - point) / self.lives)
        return Estimate(point, error, lower, upper, self.confidence)


@dataclass(frozen=True, eq=False)
class ChainRun(Lives):
    """Hold what the lives of a chain came to.

    Attributes
    ----------
    horizon_h, lives_asked, confidence, down_h, outages, first_outage_h, events
        As in `Lives`.
    state_share : mapping
        State -> estimate of the share of the time from 0 to the horizon spent in it.
    """

    state_share: Mapping[object, Estimate]


@dataclass(frozen=True, eq=False)
class BlockRun(Lives):
    """Hold what the lives of a block came to.

    Attributes
    ----------
    horizon_h, lives_asked, confidence, down_h, outages, first_outage_h, events
        As in `Lives`.
    begun_by : mapping
        Name of a part or chain -> outages of all lives that began with a change of it.
    """

    begun_by: Mapping[str, int]


def simulate_chain(
    model,
    horizon_h: float,
    lives: int,
    rng: np.random.Generator,
    *,
    confidence: float = 0.95,
    progress: Callable[[int, int], object] | str | None = "bar",
    workers: int | None = None,
) -> ChainRun:
    """Live through a Markov chain many times.

    Parameters
    ----------
    model : MarkovModel
        Begins each life as its `start` says.
    horizon_h : float
        Length of each life, hours, > 0; at most 1e8 changes of state.
    lives : int
        Number of lives, >= 2.
    rng : numpy.random.Generator
        Source of all random numbers.
    confidence : float
        Confidence level of the limits, in (0, 1).
    progress : callable, "bar" or None
        Called with the lives done and the lives asked for after each batch; if it returns False,
        the work stops there. "bar" draws a bar on stderr if the work takes more than two
        seconds.
    workers : int, optional
        Threads; default: one for each core. The result does not depend on it.

    Returns
    -------
    ChainRun
        Of the lives done, if the work was stopped by `progress` or by an interrupt from the
        keyboard.

    Raises
    ------
    TypeError, ValueError
        If an argument is of the wrong type, or outside its range.

    Notes
    -----
    Every life is drawn, and nothing is approximated; times of like cycles are drawn as their sum, see
    `labkit.simulation.chain_lives`. Unavailability and shares are means over the time from 0 to the
    horizon: with a start that is not the long run they differ from it, see
    `MarkovModel.interval_unavailability` for the exact value.

    References
    ----------
    A. M. Law, Simulation Modeling and Analysis, 5th ed. 2015, ch. 9 (independent replications).

    Examples
    --------
    >>> from labkit import two_state
    >>> unit = two_state(mtbf_h=1000, mttr_h=4)
    >>> run = simulate_chain(unit, 8760, 2000, np.random.default_rng(1))
    >>> exact = unit.interval_unavailability(8760)
    >>> abs(run.unavailability.errors_off(exact)) < 4
    True
    """
    horizon_h, lives, confidence, workers = _arguments(horizon_h, lives, rng, confidence, workers)
    tables = ChainTables.of(model)
    refuse_endless(horizon_h, tables.changes_per_h, MOST_DRAWN)
    down = ~tables.is_up[: tables.states]

    def work(batch, child):
        done = chainlives.live(tables, horizon_h, batch, child)
        shares = done.hours / horizon_h
        mean = shares.mean(axis=0)
        # Shares as their sums: the hours of every life in every state would fill the memory.
        return SimpleNamespace(
            down_h=done.hours[:, down].sum(axis=1),
            outages=done.outages,
            first_outage_h=done.first_outage_h,
            events=done.events,
            mean=mean,
            squares=np.square(shares - mean).sum(axis=0),
            largest=shares.max(axis=0),
        )

    done = run_batches(
        work,
        lives,
        rng,
        events=8_000_000,
        width=(64, min(65_536, 4_000_000 // tables.states)),
        progress=progress,
        workers=workers,
    )
    state_share = dict(zip(model.states, _share_estimates(done, confidence), strict=True))
    return ChainRun(horizon_h, lives, confidence, *_joined(done), state_share=state_share)


def _share_estimates(done, confidence):
    """Estimate the share of each state from all batches, without large sums that cancel."""
    lives = sum(one.down_h.size for one in done)
    weight = np.array([one.down_h.size for one in done]) / lives
    mean = weight @ [one.mean for one in done]
    between = weight @ [np.square(one.mean - mean) for one in done]
    squares = sum(one.squares for one in done) + lives * between
    largest = np.max([one.largest for one in done], axis=0)
    return [
        estimate(*numbers, lives, confidence, unit=1.0, most=1.0)
        for numbers in zip(mean.tolist(), squares.tolist(), largest.tolist(), strict=True)
    ]


def simulate_block(
    block,
    horizon_h: float,
    lives: int,
    rng: np.random.Generator,
    *,
    repair_times: Mapping[str, object] | None = None,
    confidence: float = 0.95,
    progress: Callable[[int, int], object] | str | None = "bar",
    workers: int | None = None,
) -> BlockRun:
    """Live through a plant of independent parts many times, with any distribution of repairs.

    Parameters
    ----------
    block : Block
        Of `labkit.availability.parts`; chains in it are lived through jump by jump. Parts are new
        at 0, chains begin as their `start` says.
    horizon_h : float
        Length of each life, hours, > 0; at most 1e8 changes of state.
    lives : int
        Number of lives, >= 2.
    rng : numpy.random.Generator
        Source of all random numbers.
    repair_times : mapping, optional
        Name of a part -> its repair times: `LognormalRepair`, `FixedRepair`, or any object with
        `draw(rng, count)` in hours. The other parts have exponential repairs of the mean `mttr_h`.
    confidence, progress, workers
        As for `simulate_chain`.

    Returns
    -------
    BlockRun
        Of the lives done, if the work was stopped by `progress` or by an interrupt from the
        keyboard.

    Raises
    ------
    TypeError, ValueError
        If an argument is of the wrong type, or outside its range; if `repair_times` names
        something that is no part of the block.

    Notes
    -----
    Times between failures are exponential, a part does not age while it is down, and every part
    has a crew of its own. Then the long-run unavailability depends on the repair times only by
    their means; how long single outages last, and how they are spread, depends on the
    distribution.

    References
    ----------
    R. E. Barlow, F. Proschan, Statistical Theory of Reliability and Life Testing, 1975, ch. 7
    (alternating renewal processes).

    Examples
    --------
    >>> from labkit import LognormalRepair, Part, parallel
    >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=50) for name in ("one", "two")))
    >>> slow = {"one": LognormalRepair(50, 1.0), "two": LognormalRepair(50, 1.0)}
    >>> run = simulate_block(pair, 87_600, 500, np.random.default_rng(1), repair_times=slow)
    >>> abs(run.unavailability.errors_off(pair.unavailability)) < 4
    True
    """
    horizon_h, lives, confidence, workers = _arguments(horizon_h, lives, rng, confidence, workers)
    tables = blocklives.BlockTables.of(block, repair_times)
    refuse_endless(horizon_h, tables.changes_per_h, MOST_DRAWN)
    done = run_batches(
        lambda batch, child: blocklives.live(tables, horizon_h, batch, child),
        lives,
        rng,
        events=400_000,
        width=(8, min(65_536, 2_000_000 // max(len(tables.names), 1))),
        progress=progress,
        workers=workers,
    )
    begun_by = sum(one.begun_by for one in done)
    return BlockRun(
        horizon_h,
        lives,
        confidence,
        *_joined(done),
        begun_by=dict(zip(tables.names, begun_by.tolist(), strict=True)),
    )


def _joined(done):
    columns = (
        np.concatenate([getattr(one, name) for one in done])
        for name in ("down_h", "outages", "first_outage_h")
    )
    return *columns, sum(one.events for one in done)


def _arguments(horizon_h, lives, rng, confidence, workers):
    generator(rng)
    if workers is not None:
        workers = count("workers", workers, least=1, most=1000)
    return (positive("horizon_h", horizon_h), count("lives", lives, least=2, most=10**8),
            share("confidence", confidence, margin=1e-12), workers)
