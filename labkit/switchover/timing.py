"""How long a takeover lasts, over all phases of the clocks, and how often it comes for nothing.

A *false alarm* is a partner that is taken for silent while it lives, because its beats were lost.
What follows depends on the settings: with the racks asked the standby stays, without it takes
over. Two ways to be wrong belong together: missing fewer beats finds a dead partner sooner and a
living one dead more often.
"""

import math
from dataclasses import dataclass

import numpy as np

from labkit.arguments import count, fraction, generator, instance, one_of, positive
from labkit.switchover.clocks import Channel, Clock
from labkit.switchover.settings import PairSettings

MS_PER_H = 3_600_000.0
CHUNK = 1 << 20
MOST_BEATS = 10**10


@dataclass(frozen=True, eq=False)
class Sweep:
    """Hold the terms of many takeovers, int arrays of one shape, ms.

    Parameters
    ----------
    detection_ms, decision_ms, cycle_ms, rack_update_ms, output_filter_ms : ndarray
        The terms, in the order of the budget.
    beat_phase_ms, cycle_phase_ms, update_phase_ms : ndarray
        Phases at the fault: of the active unit's heartbeat, of the cycle and of the rack update of
        the unit that takes over.

    >>> sweep = switchover_sweep(PairSettings(), 1000, np.random.default_rng(1))
    >>> bool(sweep.total_ms.min() >= 175 and sweep.total_ms.max() <= 285)
    True
    """

    detection_ms: np.ndarray
    decision_ms: np.ndarray
    cycle_ms: np.ndarray
    rack_update_ms: np.ndarray
    output_filter_ms: np.ndarray
    beat_phase_ms: np.ndarray
    cycle_phase_ms: np.ndarray
    update_phase_ms: np.ndarray

    @property
    def total_ms(self) -> np.ndarray:
        """From the fault to the first correct output at the terminal, ms."""
        return (self.detection_ms + self.decision_ms + self.cycle_ms + self.rack_update_ms
                + self.output_filter_ms)


def switchover_times(settings: PairSettings, beat_phase_ms, cycle_phase_ms, update_phase_ms, *,
                     fault_ms: int = 0, cause: str = "no power", takes_over: int = 1) -> Sweep:
    """Return the terms of takeovers for given phases of the clocks.

    Parameters
    ----------
    beat_phase_ms, cycle_phase_ms, update_phase_ms : int or array of int
        One moment of each clock, ms: heartbeat of the active unit, cycle and rack update of the
        unit that takes over.
    fault_ms : int
        When the active unit fails, ms; what is due in that millisecond still happens.
    cause : str
        "no power" or "stopped".
    takes_over : int
        Which unit takes over, 0 or 1.

    Raises
    ------
    ValueError
        If the cause or the unit is unknown.

    >>> [int(switchover_times(PairSettings(), *phases).total_ms)
    ...  for phases in ((1, 12, 13), (0, 20, 0))]
    [178, 285]
    """
    one_of("cause", cause, ("no power", "stopped"))
    takes_over = count("takes_over", takes_over, most=1)
    phases = np.broadcast_arrays(*(_phases(name, each) for name, each in (
        ("beat_phase_ms", beat_phase_ms), ("cycle_phase_ms", cycle_phase_ms),
        ("update_phase_ms", update_phase_ms))))
    clock = Clock(settings.cycle_of(takes_over), settings.heartbeat_ms, settings.rack_update_ms,
                  phases[1], phases[0], phases[2])
    silent_ms = np.full(phases[0].shape, fault_ms, dtype=np.int64)
    decision_ms = 0
    if cause == "no power":
        silent_ms = clock.last_beat(silent_ms) + settings.silence_ms
        decision_ms = settings.decision_ms
    decided_ms = silent_ms + decision_ms
    ready_ms = clock.next_cycle(decided_ms) + clock.cycle_ms
    written_ms = clock.update_after(ready_ms)
    return Sweep(silent_ms - fault_ms, np.full_like(silent_ms, decision_ms),
                 ready_ms - decided_ms, written_ms - ready_ms,
                 np.full_like(silent_ms, settings.output_filter_ms), *phases)


def _phases(name, given):
    if isinstance(given, np.ndarray) and given.dtype.kind == "i":
        return given
    return np.int64(count(name, given))


def switchover_sweep(settings: PairSettings, runs: int, rng: np.random.Generator, *,
                     cause: str = "no power", takes_over: int = 1) -> Sweep:
    """Return the terms of takeovers over drawn phases of the clocks.

    Parameters
    ----------
    settings : PairSettings
    runs : int
        How many, >= 1.
    rng : numpy.random.Generator
    cause : str
        "no power" or "stopped".
    takes_over : int
        Which unit takes over, 0 or 1.

    Returns
    -------
    Sweep
        Arrays of shape (runs,). Every total lies inside `switchover_budget`.

    Raises
    ------
    ValueError
        If `runs` is below 1, or the cause or the unit is unknown.

    Examples
    --------
    >>> switchover_sweep(PairSettings(), 3, np.random.default_rng(1)).total_ms.shape
    (3,)
    """
    instance("settings", settings, PairSettings)
    runs = count("runs", runs, least=1, most=10**7)
    takes_over = count("takes_over", takes_over, most=1)
    generator(rng)
    phases = (rng.integers(period_ms, size=runs) for period_ms in (
        settings.heartbeat_ms, settings.cycle_of(takes_over), settings.rack_update_ms))
    return switchover_times(settings, *phases, cause=cause, takes_over=takes_over)


def false_alarms_per_h(settings: PairSettings, channel: Channel) -> float:
    """Return how often a living partner is taken for silent, in the long run, exactly.

    Parameters
    ----------
    settings : PairSettings
        Heartbeat and number of missed beats.
    channel : Channel
        How the cable loses beats.

    Returns
    -------
    float
        False alarms per hour in one direction, >= 0; a run of lost beats counts once, however long.

    Notes
    -----
    One needs a heard beat and then n lost ones. With independent losses p the rate is
    p^n (1 - p) per beat. With gaps of beats the cable is a chain of two states that is looked at once per
    beat: the rate is pi H (T L)^n 1 with the long-run shares pi, the chances to be heard H and
    lost L in each state, and the transitions T between two beats.

    Examples
    --------
    >>> per_day = 24 * false_alarms_per_h(PairSettings(missed_beats=1), Channel(loss=0.01))
    >>> round(per_day)
    17107
    """
    instance("settings", settings, PairSettings)
    instance("channel", channel, Channel)
    shares, between = _states(settings.heartbeat_ms, channel)
    lost = np.array([channel.loss, channel.beat_gap_loss])
    weights = shares * (1.0 - lost)
    for _ in range(settings.missed_beats):
        weights = (weights @ between) * lost
    return float(weights.sum()) * MS_PER_H / settings.heartbeat_ms


def _states(beat_ms: int, channel: Channel) -> tuple[np.ndarray, np.ndarray]:
    """Return long-run shares of quiet and gap, and the transitions from beat to beat."""
    if channel.beat_gap_ms == 0.0:
        return np.array([1.0, 0.0]), np.eye(2)
    begins, ends = 1.0 / channel.quiet_ms, 1.0 / channel.beat_gap_ms
    gap = begins / (begins + ends)
    quiet = ends / (begins + ends)
    mixed = -math.expm1(-(begins + ends) * beat_ms)
    kept = math.exp(-(begins + ends) * beat_ms)
    shares = np.array([quiet, gap])
    return shares, np.array([[kept + mixed * quiet, mixed * gap],
                             [mixed * quiet, kept + mixed * gap]])


def first_false_alarm_h(settings: PairSettings, loss: float) -> float:
    """Return the mean time from a heard beat to the first false alarm, independent losses.

    Parameters
    ----------
    settings : PairSettings
    loss : float
        Chance that a beat is lost, 0 to 1.

    Returns
    -------
    float
        Hours; inf without losses, and where it is beyond 1e300 beats.

    Raises
    ------
    ValueError
        If the chance is outside 0 to 1.

    Notes
    -----
    The mean number of trials to the first run of n is (1 - p^n) / ((1 - p) p^n), here written as
    the sum of p^-k for k = 1 to n, which is the same without a subtraction. After one the next
    heard beat is 1 / (1 - p) beats away on average; both together give the mean time between two
    false alarms, one over `false_alarms_per_h`.

    References
    ----------
    W. Feller, An Introduction to Probability Theory and Its Applications, vol. 1, XIII.7.

    Examples
    --------
    >>> round(first_false_alarm_h(PairSettings(missed_beats=2, margin_ms=0), 0.5) * 3_600_000)
    300
    """
    instance("settings", settings, PairSettings)
    loss = fraction("loss", loss)
    if loss == 0.0 or -math.log10(loss) * settings.missed_beats > 300:
        return math.inf
    beats = math.fsum(loss ** -k for k in range(1, settings.missed_beats + 1))
    return (beats * settings.heartbeat_ms + settings.margin_ms) / MS_PER_H


def simulated_false_alarms(settings: PairSettings, channel: Channel, hours: float,
                          rng: np.random.Generator) -> int:
    """Count the false alarms in a simulated time, one direction.

    Parameters
    ----------
    settings : PairSettings
    channel : Channel
    hours : float
        Simulated time, > 0 and finite, h.
    rng : numpy.random.Generator

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If `hours` is not > 0 and finite.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> simulated_false_alarms(PairSettings(), Channel(loss=0.0), 1.0, rng)
    0
    """
    instance("settings", settings, PairSettings)
    instance("channel", channel, Channel)
    left = round(positive("hours", hours) * MS_PER_H / settings.heartbeat_ms)
    if left > MOST_BEATS:
        raise ValueError(f"hours must hold at most {MOST_BEATS} beats, got {hours}")
    generator(rng)
    shares, _ = _states(settings.heartbeat_ms, channel)
    in_gap = bool(rng.random() < shares[1])
    edge_ms = math.inf if channel.beat_gap_ms == 0.0 else rng.exponential(
        channel.beat_gap_ms if in_gap else channel.quiet_ms)
    alarms, run, now_ms = 0, 0, 0.0
    while left:
        size = min(left, CHUNK)
        left -= size
        times_ms = now_ms + settings.heartbeat_ms * np.arange(1, size + 1)
        now_ms = times_ms[-1]
        edges = []
        state = in_gap
        while edge_ms <= now_ms:
            edges.append(edge_ms)
            state = not state
            edge_ms += rng.exponential(channel.beat_gap_ms if state else channel.quiet_ms)
        turned = np.searchsorted(np.array(edges), times_ms, side="right") % 2 == 1
        lost_all = turned != in_gap
        in_gap = state
        lost = rng.random(size) < np.where(lost_all, channel.beat_gap_loss, channel.loss)
        # a run counts once: when its length is just n
        place = np.arange(size)
        heard = np.maximum.accumulate(np.where(lost, -1 - run, place))
        lengths = place - heard
        alarms += int(np.count_nonzero(lengths == settings.missed_beats))
        run = int(lengths[-1])
    return alarms
