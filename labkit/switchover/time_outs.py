"""What a time-out brings and what it costs: how late a dead partner is found, how often a living
one is taken for dead.

Both follow from the same three settings, so that they are looked at together.
"""

from dataclasses import dataclass, replace

from labkit.arguments import amount, count, instance, positive
from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.timing import false_alarms_per_h
from labkit.wording import HOURS_PER_YEAR, capital, percent, three_digits

RESERVE_MS = 100
"""What the hold time is longer than the longest time without a write: chosen, and not proved."""
MOST_BEATS = 8
"""How many missed beats are compared."""


@dataclass(frozen=True)
class TimeOut:
    """Hold what a time-out brings and costs.

    Parameters
    ----------
    silent_ms : tuple of int
        Least and most time from a loss of power until the partner counts as silent, ms.
    takeover_ms : tuple of int
        Least and most time from a loss of power to the first correct output, ms.
    unwritten_ms : int
        Longest time of a rack without a write, ms: the last one of the lost unit may be older than
        the loss.
    hold_ms : int
        Hold time of the racks, ms; it runs from the last write.
    false_alarms_per_year : float
        How often a year a living partner is taken for silent, >= 0. Where the racks are asked first
        and can be reached, none leads to a takeover; where they are not, each may.

    >>> time_out(PairSettings(), Channel(loss=0.01)).silent_ms
    (110, 160)
    """

    silent_ms: tuple[int, int]
    takeover_ms: tuple[int, int]
    unwritten_ms: int
    hold_ms: int
    false_alarms_per_year: float

    @property
    def verdict(self) -> str:
        """How the longest time without a write stands against the hold time, in words."""
        if self.unwritten_ms >= self.hold_ms:
            return "too late, the racks may let go first"
        if self.unwritten_ms + RESERVE_MS > self.hold_ms:
            return f"close, the reserve of {RESERVE_MS} ms is missing"
        return "in time, the racks still hold"


def time_out(settings: PairSettings, channel: Channel) -> TimeOut:
    """Return what the time-out of these settings brings and costs.

    Parameters
    ----------
    channel : Channel
        How the sync cable loses beats.

    >>> print(f"{time_out(PairSettings(), Channel(loss=0.01)).false_alarms_per_year:.0f}")
    624
    """
    budget = switchover_budget(settings)
    return TimeOut(
        (settings.detection_least_ms, settings.detection_most_ms),
        (budget.least_ms, budget.most_ms),
        budget.most_ms + settings.longest_write_gap_ms,
        settings.hold_ms,
        HOURS_PER_YEAR * false_alarms_per_h(settings, channel),
    )


def false_alarms_by_beats(
    settings: PairSettings, channel: Channel, most: int = MOST_BEATS
) -> tuple[float, ...]:
    """Return the false alarms per year for 1, 2, 3 and more missed beats.

    Parameters
    ----------
    settings : PairSettings
        Gives the period of the heartbeat; its number of missed beats is not used.
    channel : Channel
    most : int
        The largest number of missed beats, >= 1.

    Returns
    -------
    tuple of float
        Per year, in the order of the missed beats.

    Raises
    ------
    ValueError
        If `most` is outside 1 to 50.

    Examples
    --------
    >>> [f"{rate:.3g}" for rate in false_alarms_by_beats(PairSettings(), Channel(loss=0.01), 3)]
    ['6.24e+06', '6.24e+04', '624']
    """
    instance("settings", settings, PairSettings)
    instance("channel", channel, Channel)
    most = count("most", most, least=1, most=50)
    return tuple(
        HOURS_PER_YEAR * false_alarms_per_h(replace(settings, missed_beats=beats), channel)
        for beats in range(1, most + 1)
    )


def fewest_beats(settings: PairSettings, channel: Channel, most_per_year: float) -> int | None:
    """Return the smallest number of missed beats that keeps the false alarms below a bound.

    Parameters
    ----------
    settings : PairSettings
        Gives the period of the heartbeat.
    most_per_year : float
        Bound on the false alarms per year, > 0.

    Returns
    -------
    int or None
        1 to 50; None where 50 are not enough.

    Raises
    ------
    ValueError
        If the bound is not > 0.

    >>> fewest_beats(PairSettings(), Channel(loss=0.01), 0.1)
    5
    """
    most_per_year = positive("most_per_year", most_per_year)
    per_year = false_alarms_by_beats(settings, channel, 50)
    return next((beats for beats, each in enumerate(per_year, 1) if each < most_per_year), None)


def how_often(per_year: float) -> str:
    """Say a rate in words that one can picture.

    Parameters
    ----------
    per_year : float
        How often a year, >= 0.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If the rate is below 0 or no number.

    Examples
    --------
    >>> [how_often(rate) for rate in (62_441.0, 6.2, 0.0624, 0.0)]
    ['171 a day', '6.2 a year', 'one in 16 years', 'never']
    """
    per_year = amount("per_year", per_year)
    if per_year == 0:
        return "never"
    if per_year < 1:
        years = 1 / per_year
        return f"one in {_few_digits(years)} years" if years < 1e6 else "less than one in 10⁶ years"
    if per_year < 365:
        return f"{_few_digits(per_year)} a year"
    return f"{_few_digits(per_year / 365)} a day"


def _few_digits(number: float) -> str:
    """Write a number > 0 with one to three digits that say something."""
    if number < 10:
        return f"{number:.1f}".removesuffix(".0")
    return three_digits(number)


def time_out_verdict(settings: PairSettings, channel: Channel) -> tuple[str, str, str]:
    """Say whether a takeover comes in time, how often there is a false alarm, and what of it."""
    found = time_out(settings, channel)
    return (
        f"{capital(found.verdict)}.",
        f"A living partner is taken for dead: {how_often(found.false_alarms_per_year)}.",
        "The racks are asked: each one is an alarm and no takeover."
        if settings.ask_racks else
        "The racks are not asked: KF2 takes over for nothing, unless a beat comes in time.",
    )


def time_out_text(settings: PairSettings, channel: Channel) -> str:
    """Say what the time-out of these settings brings and costs.

    >>> print(time_out_text(PairSettings(), Channel(loss=0.01)).splitlines()[1])
    A dead partner is found after 110 to 160 ms.
    """
    found = time_out(settings, channel)
    gaps = (
        f"gaps of {channel.beat_gap_ms:g} ms on average, one in {channel.quiet_ms / 1000:g} s"
        if channel.beat_gap_ms else "no gaps of beats"
    )
    beats = (
        f"Beat every {settings.heartbeat_ms} ms, {settings.missed_beats} missed, margin "
        f"{settings.margin_ms} ms"
    )
    _, trips, fate = time_out_verdict(settings, channel)
    return "\n".join((
        f"{beats}; {percent(channel.loss, 1)} lost singly, {gaps}.",
        "A dead partner is found after {} to {} ms.".format(*found.silent_ms),
        "First correct output after {} to {} ms; hold time {} ms: {}.".format(
            *found.takeover_ms, found.hold_ms, found.verdict),
        trips,
        fate,
    ))
