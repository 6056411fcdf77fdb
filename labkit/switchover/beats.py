"""Who hears whom on the sync cable: when beats are heard again, and when a partner is missed.

While the cable is quiet nothing is computed for beats that come as they should; the last one that
was heard follows from the sender's clock. Only on a noisy cable each beat is looked at.
"""

from collections.abc import Callable, Iterator
from functools import partial

from labkit.switchover.clocks import NOISE, NoisyCable
from labkit.switchover.knowledge import Knowledge, UnitState
from labkit.switchover.roles import Contact, Role


class Beats:
    """Keep what each unit of a pair hears of its partner.

    Parameters
    ----------
    seed : int
        Draws which beats a noisy cable loses.

    Attributes
    ----------
    noisy : NoisyCable or None
        What the noise on the sync cable loses.
    """

    def __init__(self, pair: Knowledge, seed: int):
        self._pair = pair
        self._seed = seed
        self.noisy: NoisyCable | None = None
        self._noises = 0

    def change_noise(self) -> None:
        """Settle what was heard up to now, and let noise begin or end."""
        pair = self._pair
        for unit in pair.units:
            if unit.path_since_ms is not None:
                self._settle(unit)
                unit.path_since_ms = pair.time_ms
        self.noisy = None
        if pair.damage.noise and not pair.damage.sync_quiet:
            self._noises += 1
            self.noisy = NoisyCable(
                NOISE[pair.damage.noise], pair.time_ms, tuple(unit.clock for unit in pair.units),
                f"{self._seed} noise {self._noises}")

    def refresh(self) -> None:
        """Find out who can hear whom now."""
        pair = self._pair
        if len(pair.units) < 2:
            return
        for unit in pair.units:
            partner = pair.partner(unit)
            if unit.role in (Role.OFF, Role.STOPPED):
                unit.path_since_ms = None
                pair.set_contact(unit, Contact.UNKNOWN, f"{unit.name} does not listen.")
                continue
            path = (pair.damage.sync_ok and not unit.frozen and partner.role is not Role.OFF
                    and not pair.count_stands(partner))
            if path and unit.path_since_ms is None:
                unit.path_since_ms = pair.time_ms
            elif not path and unit.path_since_ms is not None:
                self._settle(unit)
                unit.path_since_ms = None
            if pair.live(unit):
                unit.known = partner.role

    def _settle(self, unit: UnitState) -> None:
        """Bring the time of the last beat that a unit heard up to now."""
        partner = self._pair.partner(unit)
        if self.noisy is not None:
            heard_ms = self.noisy.last_heard(partner.index, self._pair.time_ms)
        else:
            heard_ms = partner.clock.last_beat(self._pair.time_ms)
        if heard_ms is not None and heard_ms > unit.path_since_ms:
            unit.heard_ms = max(unit.heard_ms, heard_ms)

    def events(self, limit_ms: int) -> Iterator[tuple[int, int, int, Callable[[], None]]]:
        """Yield when units hear or miss their partner, at most up to a limit."""
        for unit in self._pair.units:
            found = self._next(unit, limit_ms)
            if found is not None:
                time_ms, act = found
                yield time_ms, 2 if act == self._hear else 3, unit.index, partial(act, unit)

    def _next(self, unit: UnitState, limit_ms: int) -> tuple[int, Callable] | None:
        pair = self._pair
        partner = pair.partner(unit)
        if partner is None or not unit.runs:
            return None
        missed_ms = unit.heard_ms + pair.settings.silence_ms
        since_ms = unit.path_since_ms
        if since_ms is None:
            return None if unit.contact is Contact.SILENT else (missed_ms, self._miss)
        if self.noisy is not None:
            return self._next_in_noise(unit, partner.index, limit_ms)
        beat_ms = partner.clock.next_beat(since_ms)
        if unit.contact is not Contact.SILENT and pair.time_ms < beat_ms > missed_ms:
            # the path has come back too late for the next beat to be in time
            return missed_ms, self._miss
        return None if unit.contact is Contact.HEARD else (beat_ms, self._hear)

    def _next_in_noise(self, unit: UnitState, sender: int,
                       limit_ms: int) -> tuple[int, Callable] | None:
        pair, silence_ms = self._pair, self._pair.settings.silence_ms
        if unit.contact is Contact.HEARD:
            self._settle(unit)
            missed_ms = self.noisy.next_silence(sender, unit.heard_ms, silence_ms, limit_ms)
            return None if missed_ms is None else (missed_ms, self._miss)
        heard_ms = self.noisy.next_heard(sender, max(unit.path_since_ms, pair.time_ms), limit_ms)
        missed_ms = unit.heard_ms + silence_ms
        if unit.contact is Contact.UNKNOWN and (heard_ms is None or heard_ms > missed_ms):
            return missed_ms, self._miss
        return None if heard_ms is None else (heard_ms, self._hear)

    def _hear(self, unit: UnitState) -> None:
        pair = self._pair
        partner = pair.partner(unit)
        again = unit.contact is Contact.SILENT
        unit.heard_ms = pair.time_ms
        pair.set_contact(unit, Contact.HEARD, f"{unit.name} hears the beats of {partner.name}.")
        unit.known = partner.role
        if again and unit.role is Role.STANDBY and partner.role is Role.ACTIVE:
            pair.set_role(unit, Role.LOADING, f"Rule 2: {unit.name} has missed data while it "
                                              f"heard nothing of {partner.name}; it loads again.")

    def _miss(self, unit: UnitState) -> None:
        pair = self._pair
        partner = pair.partner(unit)
        beats = pair.settings.missed_beats
        times = f"{beats} beat{'s' if beats > 1 else ''}"
        pair.set_contact(unit, Contact.SILENT, (
            f"Rule 8: {unit.name} hears {partner.name}, whose cycle count stands still."
            if pair.count_stands(partner) and pair.damage.sync_ok else
            f"Rule 4: {unit.name} has missed {times} of {partner.name}."))
