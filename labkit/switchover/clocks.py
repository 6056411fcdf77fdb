"""The clocks of a controller: when beats, cycles and writes happen, by arithmetic alone.

All times are whole milliseconds. What becomes ready in the very millisecond in which something
begins is too late for it: a result that is ready at 40 ms goes out with the first update after
40 ms. So the longest wait for a clock of period P is P, the shortest 1.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from labkit.arguments import amount, fraction, positive, read_fields
from labkit.switchover.settings import PairSettings


@dataclass(frozen=True)
class Clock:
    """Hold the periods and phases of one controller, ms.

    Parameters
    ----------
    cycle_ms, beat_ms, update_ms : int
        Periods of program cycle, heartbeat and rack update, > 0.
    cycle_phase_ms, beat_phase_ms, update_phase_ms : int
        One moment at which each of them happens.

    Notes
    -----
    Every method works on numbers and on NumPy arrays alike.

    >>> clock = Clock(cycle_ms=40, beat_ms=50, update_ms=20)
    >>> clock.last_beat(149), clock.next_cycle(40), clock.next_write(40)
    (100, 80, 60)
    """

    cycle_ms: int
    beat_ms: int
    update_ms: int
    cycle_phase_ms: int = 0
    beat_phase_ms: int = 0
    update_phase_ms: int = 0

    def last_beat(self, time_ms):
        """Return the time of the last beat up to a time, ms."""
        return time_ms - (time_ms - self.beat_phase_ms) % self.beat_ms

    def next_beat(self, time_ms):
        """Return the time of the first beat after a time, ms."""
        return self.last_beat(time_ms) + self.beat_ms

    def next_cycle(self, time_ms):
        """Return when the first cycle begins after a time, ms."""
        return time_ms - (time_ms - self.cycle_phase_ms) % self.cycle_ms + self.cycle_ms

    def update_after(self, time_ms):
        """Return when the racks are first written after a time, ms."""
        return time_ms - (time_ms - self.update_phase_ms) % self.update_ms + self.update_ms

    def last_write(self, time_ms: int) -> int:
        """Return the time of the last write of a fresh result up to a time, ms."""
        update = self.update_after(time_ms) - self.update_ms
        return self.update_after(self._result_before(update))

    def next_write(self, time_ms: int) -> int:
        """Return the time of the first write of a fresh result after a time, ms."""
        update = self.update_after(time_ms)
        result = self._result_before(update)
        if result < update - self.update_ms:
            return self.update_after(result + self.cycle_ms)
        return update

    def writes(self, after_ms: int, until_ms: int) -> Iterator[int]:
        """Yield the times of the writes of fresh results after a time, up to another one, ms."""
        write_ms = self.next_write(after_ms)
        while write_ms <= until_ms:
            yield write_ms
            write_ms = self.next_write(write_ms)

    def _result_before(self, time_ms: int) -> int:
        """Return when the last result was ready before a time, ms; it is when a cycle ends."""
        return self.next_cycle(time_ms - 1) - self.cycle_ms


def draw_clocks(settings: PairSettings, random: Random) -> tuple[Clock, Clock]:
    """Return the clocks of two controllers, with the periods of the settings and drawn phases.

    >>> first, second = draw_clocks(PairSettings(), Random(1))
    >>> first.cycle_ms, first == second
    (40, False)
    """
    first, second = (
        Clock(cycle_ms, settings.heartbeat_ms, settings.rack_update_ms, *map(random.randrange, (
            cycle_ms, settings.heartbeat_ms, settings.rack_update_ms)))
        for cycle_ms in map(settings.cycle_of, range(2)))
    return first, second


@dataclass(frozen=True)
class Channel:
    """Hold how a noisy cable loses frames: quiet stretches and gaps of beats in turn.

    The lengths of both are exponential (two-state channel after E. N. Gilbert, Bell System
    Technical Journal 39, 1960).

    Parameters
    ----------
    loss : float
        Chance that a frame is lost in a quiet stretch, 0 to 1.
    beat_gap_loss : float
        The same in a gap, 0 to 1.
    quiet_ms, beat_gap_ms : float
        Mean lengths, ms; `beat_gap_ms` 0 is a channel without gaps.

    Raises
    ------
    TypeError, ValueError
        If a value is no number, or outside its range.

    Examples
    --------
    >>> Channel(loss=0.01).beat_gap_ms
    0.0
    """

    loss: float
    beat_gap_loss: float = 1.0
    quiet_ms: float = 60_000.0
    beat_gap_ms: float = 0.0

    def __post_init__(self) -> None:
        read_fields(self, fraction, "loss", "beat_gap_loss")
        read_fields(self, positive, "quiet_ms")
        read_fields(self, amount, "beat_gap_ms")
        if self.beat_gap_ms:
            positive("beat_gap_ms", self.beat_gap_ms)


NOISE = {"noise": Channel(loss=0.10), "beat gaps": Channel(loss=0.001, quiet_ms=60_000, beat_gap_ms=200)}
"""What the two noise faults do to a cable (invented)."""


class NoisyCable:
    """Draw which beats a noisy cable loses.

    The gaps hit both directions; single losses are drawn for each direction by itself. Every
    beat has its own draw, so the answer does not depend on when it is asked for.

    Parameters
    ----------
    start_ms : int
        When the noise begins, ms; earlier beats are not lost.
    clocks : tuple of Clock
        Of the senders.
    seed : str
        Start of the random stream.

    >>> clock = Clock(40, 50, 20)
    >>> noisy = NoisyCable(Channel(loss=0.5), 0, (clock, clock), "1")
    >>> noisy.next_heard(0, 0) % 50
    0
    """

    def __init__(self, channel: Channel, start_ms: int, clocks: tuple[Clock, ...], seed: str):
        self._channel = channel
        self._start_ms = start_ms
        self._clocks = clocks
        self._draws = [Random(f"{seed} beats {i}") for i in range(len(clocks))]
        self._lost: list[list[bool]] = [[] for _ in clocks]
        self._gaps = Random(f"{seed} gaps")
        self._edges = [start_ms + self._stretch(channel.quiet_ms)] if channel.beat_gap_ms else []
        self._seen = [0] * len(clocks)
        self._unbroken: dict[tuple[int, int], tuple[int, int]] = {}

    def _stretch(self, mean_ms: float) -> float:
        return self._gaps.expovariate(1.0 / mean_ms)

    def _in_gap(self, sender: int, time_ms: int) -> bool:
        """Return whether a beat falls into a gap; times of one sender only grow."""
        edges = self._edges
        if not edges:
            return False
        seen = self._seen[sender]
        while edges[seen] <= time_ms:
            seen += 1
            if seen == len(edges):
                mean_ms = self._channel.beat_gap_ms if seen % 2 else self._channel.quiet_ms
                edges.append(edges[-1] + self._stretch(mean_ms))
        self._seen[sender] = seen
        return seen % 2 == 1

    def _is_lost(self, sender: int, number: int) -> bool:
        """Return whether the beat of this number, counted from the start, is lost."""
        lost = self._lost[sender]
        clock = self._clocks[sender]
        first_ms = clock.next_beat(self._start_ms)
        while len(lost) <= number:
            in_gap = self._in_gap(sender, first_ms + len(lost) * clock.beat_ms)
            chance = self._channel.beat_gap_loss if in_gap else self._channel.loss
            lost.append(self._draws[sender].random() < chance)
        return lost[number]

    def next_heard(self, sender: int, time_ms: int, limit_ms: int | None = None) -> int | None:
        """Return the first beat after a time that is heard; None if there is none up to a limit."""
        clock = self._clocks[sender]
        first_ms = clock.next_beat(self._start_ms)
        beat_ms = clock.next_beat(max(time_ms, self._start_ms))
        number = (beat_ms - first_ms) // clock.beat_ms
        while limit_ms is None or beat_ms <= limit_ms:
            if not self._is_lost(sender, number):
                return beat_ms
            number += 1
            beat_ms += clock.beat_ms
        return None

    def last_heard(self, sender: int, time_ms: int) -> int | None:
        """Return the last beat up to a time that was heard through the noise, or None."""
        clock = self._clocks[sender]
        first_ms = clock.next_beat(self._start_ms)
        number = (clock.last_beat(time_ms) - first_ms) // clock.beat_ms
        while number >= 0:
            if not self._is_lost(sender, number):
                return first_ms + number * clock.beat_ms
            number -= 1
        return None

    def next_silence(self, sender: int, heard_ms: int, silence_ms: int,
                     limit_ms: int) -> int | None:
        """Return when a listener counts the sender as silent; None if not up to a limit.

        Parameters
        ----------
        sender : int
            Number of the sender.
        heard_ms : int
            Last beat that was heard, ms.
        silence_ms : int
            Time after the last beat at which the sender counts as silent, ms.
        limit_ms : int
            How far to look, ms.
        """
        # from any beat of an unbroken stretch that was looked at before, its end is known
        from_ms, to_ms = self._unbroken.get((sender, silence_ms), (heard_ms, heard_ms))
        begun_ms = heard_ms
        if from_ms <= heard_ms <= to_ms:
            begun_ms, heard_ms = from_ms, to_ms
        clock = self._clocks[sender]
        beat_ms = clock.next_beat(max(heard_ms, self._start_ms))
        number = (beat_ms - clock.next_beat(self._start_ms)) // clock.beat_ms
        missed_ms = heard_ms + silence_ms
        while beat_ms <= missed_ms <= limit_ms:
            if not self._is_lost(sender, number):
                heard_ms = beat_ms
                missed_ms = heard_ms + silence_ms
            number += 1
            beat_ms += clock.beat_ms
        self._unbroken[sender, silence_ms] = begun_ms, heard_ms
        return missed_ms if missed_ms <= limit_ms else None
