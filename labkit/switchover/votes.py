"""The third vote: a voter beside the pair that hears both units and gives its vote to one at a time.

Two of three votes make a majority: a unit has its own, that of a partner which it hears and which
does not lead, and that of the third voter where it has been given it. The voter has supply and
wires of its own and hears the beats of both units; it may be lost and come back.
"""

from collections.abc import Callable, Iterator

from labkit.switchover.knowledge import AGEING, NOT_ASKED, Knowledge, UnitState
from labkit.switchover.roles import Contact, Role


class Votes:
    """Let the third voter of a pair, if it has one, give its vote and take it back."""

    def __init__(self, pair: Knowledge):
        self._pair = pair

    def events(self) -> Iterator[tuple[int, int, int, Callable[[], None]]]:
        """Yield what the voter will do if nothing else happens: time, order, number, what to do."""
        voter = self._pair.voter
        if voter is not None:
            for time_ms, act in ((voter.due_ms, self._change), (voter.free_ms, self._miss)):
                if time_ms is not None:
                    yield time_ms, 3, len(self._pair.units), act

    def refresh(self) -> None:
        """Find out whether the voter is heard, whether its vote is free, and who leads."""
        pair, voter = self._pair, self._pair.voter
        if voter is None:
            return
        if pair.damage.voter is voter.heard:
            voter.due_ms = None
        elif voter.due_ms is None:
            voter.due_ms = pair.time_ms + pair.settings.silence_ms
        if not pair.voter_answers():
            return
        for unit in pair.units:
            if unit.name == voter.vote and not self._keeps(unit):
                self.give(None, f"{unit.name} says that it leads no rack.")
        leaders = [unit for unit in pair.units if self._beats_as_leader(unit)]
        if voter.vote is None and leaders:
            leader = max(leaders, key=pair.right)
            self.give(leader, f"{leader.name} leads.")

    def give(self, unit: UnitState | None, why: str) -> None:
        """Give the vote to a unit, or take it back; without a voter there is none to give."""
        voter, name = self._pair.voter, unit and unit.name
        if voter is not None and voter.vote != name:
            self._pair.note(voter.name, "vote", voter.vote or "none", name or "none", why)
            voter.vote, voter.free_ms = name, None

    def ask(self, unit: UnitState) -> None:
        """Let a unit ask for the vote, which is free or its own already."""
        if self._pair.voter is not None:
            self.give(unit, self._pair.rules["vote"].why(self._pair.voter.name, unit.name))

    # ------------------------------------------------------------ inside

    def _beats_as_leader(self, unit: UnitState) -> bool:
        return (unit.role is Role.ACTIVE and not self._pair.count_stands(unit)
                and self._pair.may_lead(unit))

    def _keeps(self, unit: UnitState) -> bool:
        """Return whether the unit that has the vote keeps it for now."""
        voter = self._pair.voter
        if unit.role is Role.OFF or self._pair.count_stands(unit):
            if voter.free_ms is None:  # it is missed like any partner
                voter.free_ms = (unit.clock.last_beat(self._pair.time_ms)
                                 + self._pair.settings.silence_ms)
            return True
        voter.free_ms = None
        asks = unit.contact is Contact.SILENT and unit.verdict in (AGEING, NOT_ASKED)
        return self._beats_as_leader(unit) or unit.waits and (asks or unit.take is not None)

    def _miss(self) -> None:
        voter = self._pair.voter
        self.give(None, f"{voter.name} has missed the beats of {voter.vote}.")

    def _change(self) -> None:
        """Let the units miss the voter; or let it vote again, when it has listened long enough."""
        pair, voter = self._pair, self._pair.voter
        voter.due_ms, voter.heard = None, not voter.heard
        state = ("missed", "heard")[voter.heard]
        self.give(None, f"{voter.name} is {state}.")
        pair.note(voter.name, "voter", ("missed", "heard")[not voter.heard], state, (
            f"{voter.name} has listened and votes again." if voter.heard else
            f"{voter.name} has been silent for {pair.settings.silence_ms} ms."))
