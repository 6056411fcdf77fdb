"""How racks behave: who may write them, when their outputs are held, and when they let go.

A healthy rack is written with every update that brings a fresh result. Nothing is computed for
that: a writer is noted with its first write, and the rest follows from its clock when it leaves.
"""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import pairwise

from labkit.switchover.clocks import Clock
from labkit.switchover.knowledge import Knowledge, Rack, UnitState
from labkit.switchover.roles import Outputs


class Racks:
    """Let the racks of a pair answer what the controllers do."""

    def __init__(self, pair: Knowledge):
        self._pair = pair
        self._unit = {unit.name: unit for unit in pair.units}

    # ------------------------------------------------------------ questions

    def output_state(self, rack: Rack) -> tuple[Outputs, str | None]:
        """Return outputs and writer of a rack; None for an writer while two write by turns."""
        return rack.outputs, rack.writer if len(rack.writing) < 2 else None

    def writer_now(self, rack: Rack) -> str | None:
        """Return the writer of a rack; of two that write by turns the one that wrote last."""
        if len(rack.writing) < 2:
            return rack.writer

        def last(name: str) -> tuple[int, int]:
            unit = self._unit[name]
            return max(rack.writing[name], unit.clock.last_write(self._pair.time_ms)), unit.index

        return max(rack.writing, key=last)

    def events(self) -> Iterator[tuple[int, int, int, Callable[[], None]]]:
        """Yield what racks will do if nothing else happens: time, order, number, what to do."""
        pair = self._pair
        for i, rack in enumerate(pair.racks):
            for name, write_ms in rack.joins.items():
                yield write_ms, 7, len(pair.units) + i, partial(self._join, rack, name)
            for name, write_ms in rack.refusals.items():
                if write_ms is not None:
                    yield write_ms, 7, len(pair.units) + i, partial(self._refuse, rack, name)
            if rack.shown_ms is not None:
                yield rack.shown_ms, 8, i, partial(self._show, rack)
            if rack.due_ms is not None:
                yield rack.due_ms, 9, i, partial(self._write_missing, rack)
            if rack.outputs is Outputs.HELD and not rack.fresh and "hold" in pair.rules:
                yield (rack.written_ms + pair.settings.hold_ms, 10, i,
                       partial(self._hold_over, rack))

    # ------------------------------------------------------------ steps

    def displace(self, unit: UnitState, why: str) -> None:
        """Let the first write of a new active unit go out to every rack that it reaches.

        Where marks are read, the former writer is displaced; where not, it goes on writing.
        """
        for rack in self._pair.racks:
            if self._pair.truly_reaches(unit, rack):
                self._accept(rack, unit, why)

    def refresh(self) -> None:
        """Let writers leave that cannot write any more, and let those begin that can."""
        pair = self._pair
        for rack in pair.racks:
            if rack.name not in pair.damage.racks:
                self._kill(rack)
                continue
            for name in list(rack.writing):
                unit = self._unit[name]
                if not (unit.leads and pair.truly_reaches(unit, rack)) or self._refuses(rack, unit):
                    self._leave(rack, unit)
            writer = self._unit.get(rack.writer)
            if writer is not None and not rack.writing and not pair.truly_reaches(writer, rack):
                self._lose_carrier(rack, writer)
            self._plan_joins(rack)
            self._watch_fight(rack)

    def _refuses(self, rack: Rack, unit: UnitState) -> bool:
        """Return whether a rack refuses the writes of a unit, since its mark has a newer term."""
        pair = self._pair
        return (pair.settings.ask_racks and "older write" in pair.rules
                and rack.term > unit.term and pair.taken(rack, unit))

    def _accept(self, rack: Rack, unit: UnitState, why: str) -> None:
        if self._pair.settings.ask_racks:  # the new writer displaces the old one
            rack.writing.clear()
            rack.joins.clear()
        rack.joins.pop(unit.name, None)
        rack.refusals.pop(unit.name, None)
        rack.term = max(rack.term, unit.term)
        rack.writing[unit.name] = self._pair.time_ms
        rack.fresh = True
        rack.due_ms = None
        if rack.outputs is not Outputs.WRITTEN and rack.shown_ms is None:
            rack.shown_ms = self._pair.time_ms + self._pair.settings.output_filter_ms
        self._set_writer(rack, unit.name, why)

    def _set_writer(self, rack: Rack, writer: str | None, why: str) -> None:
        if rack.writer != writer:
            self._pair.note(rack.name, "writer", rack.writer or "none", writer or "none", why)
            rack.writer = writer

    def _set_outputs(self, rack: Rack, outputs: Outputs, why: str) -> None:
        if rack.outputs is not outputs:
            self._pair.note(rack.name, "outputs", rack.outputs.value, outputs.value, why)
            rack.outputs = outputs

    def _join(self, rack: Rack, name: str) -> None:
        unit = self._unit[name]
        if self._pair.settings.ask_racks and rack.term > unit.term:
            self._raise_term(rack, unit)
        self._accept(rack, unit, f"{name} leads and reaches {rack.name} again.")

    def _raise_term(self, rack: Rack, unit: UnitState) -> None:
        """Let a leader go above the term of a mark that has aged."""
        older, unit.term = unit.term, self._pair.next_term(unit)
        self._pair.note(unit.name, "term", str(older), str(unit.term), (
            f"Rule 1: the mark in {rack.name} has term {rack.term} and has aged; {unit.name} goes "
            "above it."))
        for each in self._pair.racks:
            if unit.name in each.writing:
                each.term = unit.term

    def _refuse(self, rack: Rack, name: str) -> None:
        pair = self._pair
        rack.refusals[name] = None
        writer = pair.partner(self._unit[name]).name
        pair.note(rack.name, f"write of {name}", "sent", "refused", pair.rules["older write"].why(
            rack.name, name, writer=writer, newer=str(rack.term),
            older=str(self._unit[name].term)))

    def _show(self, rack: Rack) -> None:
        rack.shown_ms = None
        if rack.fresh:
            self._set_outputs(rack, Outputs.WRITTEN,
                              f"The outputs of {rack.writer} have passed the output filter.")
        elif rack.outputs is not Outputs.WRITTEN:
            self._set_outputs(rack, Outputs.HELD, f"The last write of {rack.name} is held.")

    def _write_missing(self, rack: Rack) -> None:
        rack.due_ms = None
        rack.fresh = False
        if rack.outputs is Outputs.WRITTEN:
            self._set_outputs(rack, Outputs.HELD,
                              f"A write of {rack.writer} that was due has not come.")

    def _hold_over(self, rack: Rack) -> None:
        pair = self._pair
        why = pair.rules["hold"].why(rack.name, hold=str(pair.settings.hold_ms))
        rack.shown_ms = None
        self._set_outputs(rack, Outputs.FAIL_STATE, why)
        self._set_writer(rack, None, why)

    def _kill(self, rack: Rack) -> None:
        why = f"Rack {rack.name} is dead; its outputs are off."
        rack.writing.clear()
        rack.joins.clear()
        rack.refusals.clear()
        rack.term = 0
        rack.shown_ms = rack.due_ms = None
        rack.fresh = False
        self._watch_fight(rack)
        self._set_writer(rack, None, why)
        self._set_outputs(rack, Outputs.FAIL_STATE, why)

    def _leave(self, rack: Rack, unit: UnitState) -> None:
        now_ms = self._pair.time_ms
        begun_ms = rack.writing.pop(unit.name)
        if rack.writing:
            self._watch_fight(rack)
            return
        rack.written_ms = max(begun_ms, unit.clock.last_write(now_ms))
        self._set_writer(rack, unit.name, f"{unit.name} was the last to write.")
        if self._pair.truly_reaches(unit, rack):
            rack.due_ms = unit.clock.next_write(now_ms)

    def _lose_carrier(self, rack: Rack, unit: UnitState) -> None:
        why = f"Nothing carries from {unit.name} to {rack.name}."
        rack.due_ms = None
        rack.fresh = False
        self._set_writer(rack, None, why)
        if rack.outputs is Outputs.WRITTEN:
            self._set_outputs(rack, Outputs.HELD, why)

    def _plan_joins(self, rack: Rack) -> None:
        """Let each active unit that reaches a rack and does not write it begin to."""
        pair = self._pair
        for unit in pair.units:
            name = unit.name
            sends = (unit.leads and name not in rack.writing and pair.truly_reaches(unit, rack)
                     and not pair.outvoted(unit))
            refused = self._refuses(rack, unit)
            for plans, wanted in ((rack.joins, sends and not refused),
                                  (rack.refusals, sends and refused)):
                if not wanted:
                    plans.pop(name, None)
                elif name not in plans:
                    plans[name] = unit.clock.next_write(pair.time_ms)

    # ------------------------------------------------------------ two writers by turns

    def _watch_fight(self, rack: Rack) -> None:
        """Note when two begin to write a rack by turns, and when that ends."""
        pair = self._pair
        if len(rack.writing) > 1 and rack.fight_since_ms is None:
            rack.fight_since_ms = pair.time_ms
            rule = pair.rules.get("two write")
            pair.note(rack.name, "writes", "one writer", "two writers by turns",
                      rule.why(rack.name) if rule else "Two units write.")
        elif len(rack.writing) < 2 and rack.fight_since_ms is not None:
            # the last second says the same however long it was looked at
            times = writer_changes(tuple(unit.clock for unit in pair.units),
                                  max(rack.fight_since_ms, pair.time_ms - 1000), pair.time_ms)
            rack.fight_since_ms = None
            pair.note(rack.name, "writes", "two writers by turns", "one writer", (
                f"The writer has changed {times} times in the last second; now one writes, or "
                "none."))
            if rack.writing:
                self._set_writer(rack, next(iter(rack.writing)), "It alone still writes.")


def writer_changes(clocks: tuple[Clock, ...], from_ms: int, to_ms: int) -> int:
    """Return how often a rack changes its writer while all these write it by turns.

    Parameters
    ----------
    clocks : tuple of Clock
        Of two that write in the same millisecond the latter has the rack afterwards.
    from_ms, to_ms : int
        Changes after the first and up to the second count.

    >>> writer_changes((Clock(40, 50, 20), Clock(40, 50, 20, cycle_phase_ms=20)), 0, 400)
    20
    """
    first = max(range(len(clocks)), key=lambda i: (clocks[i].last_write(from_ms), i))
    writes = sorted((ms, i) for i, clock in enumerate(clocks) for ms in clock.writes(from_ms, to_ms))
    writers = [first, *(i for _, i in writes)]
    return sum(one != other for one, other in pairwise(writers))
