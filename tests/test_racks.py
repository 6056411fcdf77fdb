"""How racks take writes, hold and let go: one rack at a time, with clocks whose writes are known by hand."""

from types import SimpleNamespace

import pytest

from labkit.switchover.clocks import Clock
from labkit.switchover.knowledge import Rack
from labkit.switchover.racks import Racks, writer_changes
from labkit.switchover.roles import Outputs

# a result every 40 ms; KF1 writes at 20, 60, 100 ms, KF2 at 40, 80, 120 ms
CLOCKS = {"KF1": Clock(40, 50, 20), "KF2": Clock(40, 50, 20, cycle_phase_ms=20)}
WRITTEN, HELD, FAILED = Outputs.WRITTEN, Outputs.HELD, Outputs.FAIL_STATE


def racks_of(*racks, leads=("KF1",), time_ms=110, ask=True, reaches=("KF1", "KF2"), terms=(1, 2), alive=None, rules=("hold", "older write"),
             taken=False):
    """Return the racks of a pair of which these units lead and reach all, and what is noted of them."""
    units = [SimpleNamespace(name=name, index=index, leads=name in leads, clock=CLOCKS[name], term=terms[index])
             for index, name in enumerate(CLOCKS)]
    noted = []
    pair = SimpleNamespace(
        units=units, racks=racks, time_ms=time_ms, settings=SimpleNamespace(ask_racks=ask, hold_ms=500, output_filter_ms=5),
        rules={key: SimpleNamespace(why=lambda *_, **__: "") for key in rules},
        damage=SimpleNamespace(racks={each.name for each in racks} if alive is None else alive),
        truly_reaches=lambda unit, rack: unit.name in reaches, outvoted=lambda unit: False,
        taken=lambda rack, unit: taken, next_term=lambda unit: 9, partner=lambda unit: units[1 - unit.index],
        note=lambda who, what, old, new, why: noted.append((who, what, old, new)))
    return Racks(pair), noted


def test_writes_of_the_clocks_are_those_that_are_said_here():
    assert [[*CLOCKS[name].writes(0, 130)] for name in CLOCKS] == [[20, 60, 100], [40, 80, 120]]


@pytest.mark.parametrize(("writing", "time_ms", "writer"), [
    ({}, 110, "KF9"), ({"KF1": 20}, 110, "KF9"),  # as it is noted
    ({"KF1": 20, "KF2": 40}, 110, "KF1"), ({"KF1": 20, "KF2": 40}, 95, "KF2"),
    # one that has begun out of its turn wrote then; at one moment the second has the rack
    ({"KF1": 20, "KF2": 105}, 110, "KF2"), ({"KF1": 20, "KF2": 100}, 110, "KF2")])
def test_of_two_that_write_the_one_that_wrote_last_has_the_rack(writing, time_ms, writer):
    rack = Rack("KF10", WRITTEN, "KF9", writing=writing)
    racks, _ = racks_of(rack, time_ms=time_ms)
    assert racks.writer_now(rack) == writer
    assert racks.output_state(rack) == (WRITTEN, None if len(writing) > 1 else "KF9")


@pytest.mark.parametrize(("more", "events"), [
    ({}, []), ({"joins": {"KF2": 120}}, [(120, 7, 3)]), ({"refusals": {"KF2": 120, "KF1": None}}, [(120, 7, 3)]),
    ({"shown_ms": 115}, [(115, 8, 1)]), ({"due_ms": 140}, [(140, 9, 1)]),
    # the hold time runs from the last write, while nothing fresh has come
    ({"outputs": HELD, "written_ms": 100}, [(600, 10, 1)]), ({"outputs": HELD, "fresh": True}, []),
    ({"outputs": FAILED}, [])])
def test_what_a_rack_will_do_and_in_which_order(more, events):
    racks, _ = racks_of(Rack("KF10", WRITTEN), Rack("KF20", **{"outputs": WRITTEN} | more))
    assert [each[:3] for each in racks.events()] == events
    without, _ = racks_of(Rack("KF10", WRITTEN), Rack("KF20", **{"outputs": WRITTEN} | more), rules=())
    assert [each[:3] for each in without.events()] == [each for each in events if each[1] != 10]


@pytest.mark.parametrize(("ask", "outputs", "shown_ms", "after"), [
    (True, HELD, None, ({"KF2": 110}, {}, 115)), (True, WRITTEN, None, ({"KF2": 110}, {}, None)),
    (True, FAILED, 112, ({"KF2": 110}, {}, 112)),  # a write that is on its way shows when that one does
    (False, HELD, None, ({"KF1": 20, "KF2": 110}, {"KF1": 100}, 115))])
def test_a_new_writer_displaces_the_old_one_where_marks_are_read(ask, outputs, shown_ms, after):
    rack = Rack("KF10", outputs, "KF1", term=5, due_ms=140, writing={"KF1": 20}, joins={"KF1": 100, "KF2": 120},
                refusals={"KF2": 130}, shown_ms=shown_ms)
    racks, noted = racks_of(rack, ask=ask)
    racks.displace(racks._unit["KF2"], "")
    assert (rack.writing, rack.joins, rack.shown_ms) == after and (rack.fresh, rack.due_ms, rack.refusals) == (True, None, {})
    assert (rack.writer, rack.term, noted) == ("KF2", 5, [("KF10", "writer", "KF1", "KF2")])
    far, noted = racks_of(Rack("KF10"), reaches=("KF1",))
    far.displace(far._unit["KF2"], "")
    assert not noted


@pytest.mark.parametrize(("fresh", "outputs", "after"), [
    (True, HELD, WRITTEN), (True, WRITTEN, WRITTEN), (False, FAILED, HELD), (False, WRITTEN, WRITTEN), (False, HELD, HELD)])
def test_what_shows_at_the_terminals_once_the_filter_is_passed(fresh, outputs, after):
    rack = Rack("KF10", outputs, fresh=fresh, shown_ms=110)
    racks, noted = racks_of(rack)
    racks._show(rack)
    assert (rack.outputs, rack.shown_ms) == (after, None)
    assert noted == ([] if outputs is after else [("KF10", "outputs", outputs.value, after.value)])


def test_a_write_that_is_missed_is_held_and_let_go_by_the_hold_time():
    rack = Rack("KF10", WRITTEN, "KF1", fresh=True, due_ms=110, shown_ms=None)
    racks, noted = racks_of(rack)
    racks._write_missing(rack)
    assert (rack.outputs, rack.fresh, rack.due_ms) == (HELD, False, None)
    rack.shown_ms = 112
    racks._hold_over(rack)
    assert (rack.outputs, rack.writer, rack.shown_ms) == (FAILED, None, None)
    assert noted == [("KF10", "outputs", "written", "held"), ("KF10", "outputs", "held", "fail state"),
                     ("KF10", "writer", "KF1", "none")]
    racks._write_missing(rack)
    assert rack.outputs is FAILED


@pytest.mark.parametrize(("writing", "reaches", "written_ms", "due_ms"), [
    # KF1 stops at 110 ms: its last write came at 100 ms, the next was due at 140 ms
    ({"KF1": 20}, ("KF1",), 100, 140), ({"KF1": 105}, ("KF1",), 105, 140), ({"KF1": 20}, (), 100, None)])
def test_a_writer_that_leaves_is_missed_when_its_next_write_was_due(writing, reaches, written_ms, due_ms):
    rack = Rack("KF10", WRITTEN, "KF1", fresh=True, writing=writing)
    racks, _ = racks_of(rack, leads=(), reaches=reaches)
    racks.refresh()
    assert (rack.writing, rack.written_ms, rack.due_ms) == ({}, written_ms, due_ms)
    # where nothing carries, the outputs are held at once, and no writer is left
    assert (rack.outputs, rack.writer, rack.fresh) == (
        (WRITTEN, "KF1", True) if reaches else (HELD, None, False))


def test_a_dead_rack_forgets_everything():
    rack = Rack("KF10", WRITTEN, "KF1", True, 100, 5, {"KF1": 20, "KF2": 40}, {"KF2": 120}, {"KF2": 120}, 112, 140, 50)
    racks, noted = racks_of(rack, alive=set())
    racks.refresh()
    assert (rack.outputs, rack.writer, rack.fresh, rack.term, rack.writing, rack.joins, rack.refusals, rack.shown_ms,
            rack.due_ms, rack.fight_since_ms) == (FAILED, None, False, 0, {}, {}, {}, None, None, None)
    assert [each[1:] for each in noted] == [
        ("writes", "two writers by turns", "one writer"), ("writer", "KF1", "none"), ("outputs", "written", "fail state")]


@pytest.mark.parametrize(("leads", "ask", "term", "taken", "joins", "refusals"), [
    (("KF1",), True, 0, False, {"KF1": 140}, {}), ((), True, 0, False, {}, {}),
    (("KF1", "KF2"), False, 0, False, {"KF1": 140, "KF2": 120}, {}),
    # a mark with a newer term refuses, where marks are read and somebody alive has set it
    (("KF1",), True, 2, True, {}, {"KF1": 140}), (("KF1",), True, 1, True, {"KF1": 140}, {}),
    (("KF1",), True, 2, False, {"KF1": 140}, {}), (("KF1",), False, 2, True, {"KF1": 140}, {})])
def test_who_leads_and_reaches_a_rack_begins_with_its_next_write_or_is_refused(leads, ask, term, taken, joins, refusals):
    rack = Rack("KF10", HELD, term=term)
    racks, _ = racks_of(rack, leads=leads, ask=ask, taken=taken)
    racks.refresh()
    assert (rack.joins, rack.refusals) == (joins, refusals)
    rack.joins.update({"KF1": 100} if joins else {})
    racks.refresh()  # what is planned stays planned
    assert rack.joins == (joins | {"KF1": 100} if joins else {})


def test_a_leader_goes_above_a_mark_that_has_aged_and_takes_its_racks_along():
    rack, other = Rack("KF10", HELD, term=4, joins={"KF1": 110}), Rack("KF20", WRITTEN, "KF1", term=1, writing={"KF1": 20})
    racks, noted = racks_of(rack, other)
    racks._join(rack, "KF1")
    assert (rack.term, other.term, rack.writing, rack.joins) == (9, 9, {"KF1": 110}, {})
    assert noted == [("KF1", "term", "1", "9"), ("KF10", "writer", "none", "KF1")]
    for ask, term in ((False, 4), (True, 1)):
        same = Rack("KF10", HELD, term=term)
        racks, noted = racks_of(same, ask=ask)
        racks._join(same, "KF1")
        assert [each[1] for each in noted] == ["writer"] and same.term == max(term, 1)


def test_two_begin_and_end_to_write_by_turns():
    rack = Rack("KF10", WRITTEN, "KF1", writing={"KF1": 20, "KF2": 40})
    racks, noted = racks_of(rack, leads=("KF1", "KF2"), ask=False)
    racks.refresh()
    assert rack.fight_since_ms == 110 and noted == [("KF10", "writes", "one writer", "two writers by turns")]
    racks.refresh()
    assert len(noted) == 1
    racks._pair.time_ms, racks._unit["KF1"].leads, told = 510, False, []
    racks._pair.note = lambda *words: told.append(words)
    racks.refresh()
    assert (rack.fight_since_ms, rack.writing, rack.writer) == (None, {"KF2": 40}, "KF2")
    # from 110 to 510 ms: each writes every 40 ms, so the writer changes 20 times
    assert told[0][4].startswith("The writer has changed 20 times in the last second")
    assert [each[:4] for each in told] == [("KF10", "writes", "two writers by turns", "one writer"),
                                           ("KF10", "writer", "KF1", "KF2")]


def test_of_a_long_fight_the_last_second_counts():
    """By turns every 20 ms: the write at its very beginning, 1000 ms ago, is none of the 50."""
    rack = Rack("KF10", WRITTEN, "KF1", writing={"KF2": 40}, fight_since_ms=110)
    racks, _ = racks_of(rack, leads=("KF2",), ask=False, time_ms=2000)
    told = []
    racks._pair.note = lambda *words: told.append(words[4])
    racks.refresh()
    assert told[0].startswith("The writer has changed 50 times in the last second")


@pytest.mark.parametrize(("from_ms", "to_ms"), [(0, 400), (20, 20), (20, 40), (19, 40), (7, 1003), (100, 260)])
@pytest.mark.parametrize("other", [CLOCKS["KF2"], Clock(40, 50, 20), Clock(60, 50, 20, update_phase_ms=5)])
def test_changes_of_the_writer_are_counted_ms_by_ms(from_ms, to_ms, other):
    clocks, now, changes = (CLOCKS["KF1"], other), None, 0
    for time_ms in range(-200, to_ms + 1):
        for index, clock in enumerate(clocks):
            if clock.last_write(time_ms) == time_ms:
                changes += time_ms > from_ms and now != index
                now = index
    assert writer_changes(clocks, from_ms, to_ms) == changes
