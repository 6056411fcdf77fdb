"""What an act at the rig did: the record in rows, and one sentence from two states."""

from collections.abc import Sequence
from dataclasses import dataclass

from labkit.rig.rig import RigView
from labkit.switchover.roles import Entry, Outputs, Role
from labkit.wording import HOURS_PER_YEAR, capital, grouped, listed

BY_HAND = ("fault", "role change")
"""What stands in the record because somebody did it."""

_SAME_RATE, _TAIL = 5e-3, 60


@dataclass(frozen=True)
class RecordRow:
    """Hold what happened in one millisecond to one thing, or to several alike.

    >>> RecordRow(5, ("KF10", "KF20"), "outputs", "held", "written", "").text
    'KF10 and KF20 outputs: held to written'
    """

    time_ms: int
    who: tuple[str, ...]
    what: str
    old: str
    new: str
    why: str

    @property
    def by_hand(self) -> bool:
        """Whether somebody did it."""
        return self.what in BY_HAND

    @property
    def text(self) -> str:
        """The row in words, without its reason."""
        who = listed(self.who, most=4)
        if self.what == "fault":
            return f"fault {self.new}: {who}"
        if self.what == "alarm":
            return f"alarm: {self.new}" if self.new else f"alarm gone: {self.old}"
        return f"{who} {self.what}: {self.old or 'none'} to {self.new or 'none'}"


def rows_of(record: Sequence[Entry]) -> tuple[RecordRow, ...]:
    """Return a record in rows: what happened to several alike at once is one of them.

    Alike are entries of one millisecond with the same change whose reasons differ in the name
    only. A row stands where its first entry stands.

    >>> record = [Entry(5, "KF10", "outputs", "written", "held", "No write to KF10."),
    ...           Entry(5, "KF1", "role", "active", "off", "KF1 has no supply."),
    ...           Entry(5, "KF20", "outputs", "written", "held", "No write to KF20.")]
    >>> [(row.who, row.why) for row in rows_of(record)]
    [(('KF10', 'KF20'), 'No write to KF10 and KF20.'), (('KF1',), 'KF1 has no supply.')]
    """
    alike: dict[tuple, list[Entry]] = {}
    for entry in record:
        # What is said without the name: alike where only the name differs.
        said = tuple(each.replace(entry.who, "\0") for each in (entry.old, entry.new, entry.why))
        whose = entry.who if entry.what == "alarm" and "\0" not in "".join(said[:2]) else ""
        alike.setdefault((entry.time_ms, entry.what, *said, whose), []).append(entry)
    return tuple(
        RecordRow(first.time_ms, names := tuple(dict.fromkeys(each.who for each in entries)), first.what,
            *(each.replace(first.who, listed(names)) for each in (first.old, first.new, first.why)))
        for entries in alike.values() for first in entries[:1])


def latest_rows(record: Sequence[Entry], most: int = 4) -> tuple[RecordRow, ...]:
    """Return the latest rows, oldest first, and before them the last act, which is their cause.

    >>> record = [Entry(1, "KF1: no power", "fault", "off", "on", "")]
    >>> record += [Entry(i, "KF1", "role", f"{i}", f"{i + 1}", "") for i in range(2, 9)]
    >>> [row.time_ms for row in latest_rows(record, 3)]
    [1, 7, 8]
    """
    # Only the end of a long record is put into rows: from the last act on, and a little before.
    last = next((i for i in reversed(range(len(record))) if record[i].what in BY_HAND), None)
    tail = max(0, len(record) - _TAIL)
    rows = rows_of(record[tail if last is None else min(last, tail):])
    latest = rows[max(0, len(rows) - most):]
    cause = next((row for row in reversed(rows) if row.by_hand), None)
    if cause is None or cause in latest:
        return latest
    return (cause, *latest[1:])


def act_said(before: RigView, after: RigView) -> str:
    """Say in one sentence what an act did, from the state before it and the state now.

    >>> from labkit import Rig
    >>> rig = Rig()
    >>> before = rig.view()
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(10)
    >>> act_said(before, rig.view())[:52]
    '0.229 s: KF2 took over, outputs held 234 ms, nothing'
    """
    new = after.record[len(before.record):]
    start_ms = before.snapshot.time_ms
    outputs = _outputs(new, before, after)
    said = [_refused(new) + _leading(new, before, after), *outputs, *_panels(before, after)]
    what = list(dict.fromkeys(h.name for h in after.happenings[len(before.happenings):]))
    cost = after.event_cost - before.event_cost
    if cost > 0:
        what.append(f"{after.plant.currency} {grouped(cost)} lost")
    if not what and said[0].endswith("still leads") and all(
            each in outputs and " still " in each for each in said[1:]):
        said += _alarms(new, before, after)
    if what:
        said.append(listed(what))
    elif (set(after.snapshot.outputs.values()) <= {Outputs.WRITTEN}
          and not any("let go" in each for each in outputs)
          and next(iter(after.state.works.values()), True)):
        said.append("nothing lost")
    took_ms = [entry.time_ms - start_ms for entry in new
               if entry.what == "role" and entry.new == Role.ACTIVE.value]
    when = f"{took_ms[-1] / 1000:.3f} s: " if took_ms and "took over" in said[0] else ""
    rate = _rate(before, after)
    sentence = ", ".join(filter(None, said)) + (f"; {rate}" if rate else "")
    return (when or "") + (sentence if when else capital(sentence)) + "."


def _refused(new: Sequence[Entry]) -> str:
    """Say why a switchover asked for by hand was refused, where it was."""
    why = next((entry.why for entry in new if entry.new == "refused"), "")
    return f"refused, as {why.partition(': ')[2].rstrip('.')}: " if why else ""


def _alarms(new: Sequence[Entry], before: RigView, after: RigView) -> list[str]:
    """Say which alarms came or went, or that a fault that came on raises none."""
    was, now = before.snapshot.alarms, after.snapshot.alarms
    came = [each for each in now if each not in was]
    gone = [each for each in was if each not in now]
    if came or gone:
        return [f"alarm{'' if came else ' gone'}: {listed(came or gone, most=1)}"]
    silent = any(entry.what == "fault" and entry.new == "on" for entry in new)
    return ["no alarm tells of it"] if silent else []


def _leading(new: Sequence[Entry], before: RigView, after: RigView) -> str:
    was, now = before.snapshot.leaders, after.snapshot.leaders
    if len(now) > 1:
        return f"{listed(now)} lead at the same time"
    if not now:
        return "nobody leads"
    if was and was != now:
        return f"{now[0]} took over"
    if was != now:
        return f"{now[0]} leads"
    if any(entry.who == now[0] and entry.new == Role.ACTIVE.value for entry in new):
        return f"{now[0]} leads again"
    other = [f"{unit} is {role.value}" for unit, role in after.snapshot.roles.items()
             if role is not before.snapshot.roles[unit] and unit not in now]
    return f"{now[0]} still leads" + (f" and {listed(other)}" if other else "")


def _outputs(new: Sequence[Entry], before: RigView, after: RigView) -> list[str]:
    """Say how long outputs were not written, and where they still are not."""
    fight = sorted(after.snapshot.writes_fight)
    if fight:
        return [f"two writers fight over {listed(fight)}"]
    states: dict[str, list[str]] = {}
    for rack, outputs in after.snapshot.outputs.items():
        same = outputs is before.snapshot.outputs[rack]
        if outputs is not Outputs.WRITTEN:
            state = "held" if outputs is Outputs.HELD else "in fail state"
            states.setdefault(f"{'still ' if same else ''}{state}", []).append(rack)
        elif not same:
            states.setdefault("written again", []).append(rack)
    if states:
        return [f"outputs of {listed(racks)} {state}" for state, racks in states.items()]
    began: dict[str, int] = {}
    gaps, let_go = [], False
    for entry in new:
        if entry.what == "outputs":
            let_go |= entry.new == Outputs.FAIL_STATE.value
            if entry.new != Outputs.WRITTEN.value:
                began.setdefault(entry.who, entry.time_ms)
            elif entry.who in began:
                gaps.append(entry.time_ms - began.pop(entry.who))
    if not gaps:
        return []
    longest = max(gaps)
    words = f"{longest} ms" if longest < 10_000 else f"{longest / 1000:.1f} s"
    return [f"outputs let go, not written for {words}" if let_go else f"outputs held {words}"]


def _panels(before: RigView, after: RigView) -> list[str]:
    was, now = before.snapshot.panels, after.snapshot.panels
    return [f"{panel} sees the plant again" if state == "sees" else f"{panel} is {state}"
            for panel, state in now.items() if was.get(panel) != state]


def _rate(before: RigView, after: RigView) -> str:
    """Compare the outages a year of the first function from here with those from before."""
    name = next(iter(after.state.works), None)
    if name is None:
        return ""
    if not after.state.works[name]:
        return f"{name}: lost" if before.state.works[name] else ""
    here = HOURS_PER_YEAR * after.state.failures_per_h[name]
    if not before.state.works[name]:
        return f"from here {here:.2g} outages a year"
    was = HOURS_PER_YEAR * before.state.failures_per_h[name]
    if abs(here - was) <= _SAME_RATE * was:
        return "outages a year as before"
    digits = next(d for d in (2, 3, 4) if d == 4 or f"{here:.{d}g}" != f"{was:.{d}g}")
    return f"from here {here:.{digits}g} outages a year instead of {was:.{digits}g}"
