"""A rig's own log beside the simulated record: by value, and whatever way the log was written."""

import pytest

from labkit.rig.rig import Rig
from labkit.rig.side_by_side import (
    LoggedRow,
    SideBySide,
    SideRow,
    _meets,
    read_rig_log,
    side_by_side,
)
from labkit.switchover.record import record_csv
from labkit.switchover.roles import Entry
from lessons.__main__ import main
from tests.notebooks import ROOT

LOG = ROOT / "tests" / "rig_logs" / "power_cut.csv"


@pytest.fixture(scope="module")
def record():
    rig = Rig()
    rig.switch_on("KF1: no power")
    rig.wait(3)
    return rig.record


def test_the_invented_log_by_value(record):
    """Each difference is the time in the file, from 09:14:03.000, less that of the record."""
    rows, problems = read_rig_log(LOG)
    assert len(problems) == 1 and problems[0].startswith("line 13: time must be a time")
    both = side_by_side(record, rows, {"leads": "active"})
    found = {row.logged.line: (row.simulated.who, row.simulated.what, round(row.late_ms))
             for row in both.rows if row.late_ms is not None}
    at = {(entry.who, entry.what, entry.new): entry.time_ms for entry in record}
    assert found == {
        4: ("KF1", "role", 0), 5: ("KF10", "outputs", 4), 6: ("KF20", "outputs", 6),
        7: ("KF2", "heartbeat of KF1", 160 - at["KF2", "heartbeat of KF1", "missed"]),
        8: ("KF2", "role", 262 - at["KF2", "role", "active"]),
        9: ("KF10", "outputs", 270 - at["KF10", "outputs", "written"]),
        10: ("KF20", "outputs", 271 - at["KF20", "outputs", "written"]),
        11: ("KF30", "outputs", 290 - at["KF30", "outputs", "written"])}
    assert [row.logged.line for row in both.rows if row.simulated is None] == [12]
    missing = [(row.simulated.who, row.simulated.new) for row in both.rows if row.logged is None]
    assert ("KF30", "held") in missing and len(missing) + len(found) == len(record)


def test_the_command_prints_both_with_what_is_missing(capsys):
    assert main(["beside", str(LOG), "--fault", "KF1: no power", "--word", "leads=active"]) == 0
    said = capsys.readouterr().out
    assert "KF2 role: standby to active | line 8: KF2 leads" in said
    assert "KF30 outputs: written to held  (not in the log)" in said
    assert "line 12: PH1 operator has acknowledged  (not in the simulation)" in said
    assert "In both: 8." in said and "Only in the log: 1." in said and "Not read: line 13" in said
    assert main(["beside", str(LOG), "--fault", "KF1: no power", "--word", "leads"]) == 2
    assert "--word must be YOURS=OURS, got 'leads'" in capsys.readouterr().err
    assert main(["beside", str(LOG), "--fault", "KF1: no power", "--word", "leads=chief"]) == 2
    assert "a word of the record of this fault, got 'chief'" in capsys.readouterr().err


def test_a_record_of_our_own_meets_itself_row_by_row(record, tmp_path):
    (tmp_path / "own.csv").write_text(record_csv(record), "utf-8")
    rows, problems = read_rig_log(tmp_path / "own.csv")
    assert not problems and len(rows) == len(record)
    both = side_by_side(record, rows)
    told = [row for row in both.rows if row.late_ms is not None]
    # An alarm that went has no state in the file, and the fault itself no words.
    alone = [row.simulated.what for row in both.rows if row.logged is None]
    assert {row.late_ms for row in told} == {0.0} and set(alone) <= {"alarm", "fault"}
    assert all(record[row.logged.line - 2] == row.simulated for row in told)


@pytest.mark.parametrize("moved_ms", [0.0, -12_345.0, 3.6e6])
def test_rows_out_of_order_and_clocks_apart_change_nothing(record, moved_ms):
    rows, _ = read_rig_log(LOG)
    turned = [LoggedRow(row.line, row.time_ms + moved_ms, row.who, row.what) for row in rows[::-1]]
    one, other = (side_by_side(record, each, {"leads": "active"}) for each in (rows, turned))
    assert [(row.simulated, row.late_ms) for row in one.rows if row.late_ms is not None] == [
        (row.simulated, pytest.approx(row.late_ms, abs=1e-6)) for row in other.rows
        if row.late_ms is not None]


@pytest.mark.parametrize(("head", "when", "ms"), [
    ("time_s,who,what", "1.25", 1250), ("time_ms,who,what", "1250", 1250),
    ("Zeit;time;who;what", "x;1,25", 1250), ("time\twho\twhat", "0:00:01.250", 1250),
    ("time,who,what", "00:00:01.250", 1250), ("start,designation,text", "2000-01-01 00:00:01.25", 1250),
    ("start,designation,text", "01.01.2000 00:00:01", 1000),
])
def test_times_are_read_as_people_write_them(tmp_path, head, when, ms):
    mark = next(each for each in ";\t," if each in head)
    (tmp_path / "log.csv").write_text(f"{head}\n{when}{mark}KF1{mark}role off\n", "cp1252")
    (row,), problems = read_rig_log(tmp_path / "log.csv")
    assert (row.time_ms, row.who, row.what, row.line) == (ms, "KF1", "role off", 2) and not problems


def test_what_is_no_log_is_refused_and_an_empty_one_is_not(tmp_path, record):
    path = tmp_path / "log.csv"
    path.write_text("a,b\n1,2\n")
    with pytest.raises(ValueError, match=r"must have a column of time, .* got a, b"):
        read_rig_log(path)
    path.write_text("time,who,what\n" + "1,KF1,x\n" * 2001)
    with pytest.raises(ValueError, match="at most 2000 rows"):
        read_rig_log(path)
    path.write_text("time,who,what\n")
    both = side_by_side(record, read_rig_log(path)[0])
    assert "In both: 0." in both.to_text() and len(both.rows) == len(record)


def entry(time_ms, new="off", who="KF1", what="role", old="active"):
    return Entry(time_ms, who, what, old, new, "")


def logged(time_ms, what="off", who="KF1", line=2):
    return LoggedRow(line, time_ms, who, what)


def test_the_table_by_value():
    """The log's clock is 50 s ahead; times count from the first row of both, at 1.5 s."""
    rows = (SideRow(entry(1000, "on", "KF1: no power", "fault", ""), None), SideRow(entry(1500), logged(51_500.0), 0.0),
            SideRow(entry(2500, "", "PH1", "alarm", "blind"), logged(52_488.0, "blind gone", "PH1", 3), -12.0),
            SideRow(None, logged(53_750.0, "acknowledged", "PH1", 4)))
    assert SideBySide(rows, 50_000.0).to_text().splitlines() == [
        "simulated       rig     late  what",
        "   -0.500                     KF1: no power fault: none to on  (not in the log)",
        "    0.000     0.000    +0 ms  KF1 role: active to off | line 2: KF1 off",
        "    1.000     0.988   -12 ms  PH1 alarm: blind to gone | line 3: PH1 blind gone",
        "              2.250           line 4: PH1 acknowledged  (not in the simulation)",
        "In both: 2. Only in the simulation: 1. Only in the log: 1.",
        "Largest difference: -12 ms, PH1 alarm: blind to gone."]
    assert "Largest" not in SideBySide(rows[:1], 0.0).to_text()


FAULT_ON, GONE = entry(0, "on", "WF9: plug loose", "fault", "off"), entry(0, "", "PH1", "alarm", "PH1 is blind")


@pytest.mark.parametrize(("one", "who", "what", "meets"), [
    (entry(0), "kf1", "is OFF now", True), (entry(0), "KF2", "off", False), (entry(0), "KF1", "offline", False),
    (entry(0, "fail state"), "KF1", "in fail-state", True), (entry(0, "fail state"), "KF1", "fail", False),
    # a fault by its own words, and as it comes on
    (FAULT_ON, "WF9", "plug loose", True), (FAULT_ON, "WF9", "the plug is loose again", True),
    (FAULT_ON, "WF9", "loose", False), (entry(0, "off", "WF9: plug loose", "fault", "on"), "WF9", "plug loose", False),
    # an alarm that goes needs a word for that, and one that comes has none
    (GONE, "PH1", "PH1 is blind: gone", True), (GONE, "PH1", "cleared: PH1 is blind", True),
    (GONE, "PH1", "off: PH1 is blind", True), (GONE, "PH1", "PH1 is blind", False), (GONE, "PH1", "gone", False),
    (entry(0, "blind", "PH1", "alarm", ""), "PH1", "blind", True),
    (entry(0, "blind", "PH1", "alarm", ""), "PH1", "blind gone", False),
    (entry(0, "blind", "PH1", "alarm", ""), "PH1", "blind cleared", False),
    (entry(0, "gone", "PH1", "role", ""), "PH1", "gone", True),
])
def test_what_of_a_log_can_tell_of_what(one, who, what, meets):
    assert _meets(one, logged(0, what, who), {}) is meets


def test_words_of_the_log_stand_for_those_of_the_record():
    assert _meets(entry(0, "active"), logged(0, "leads"), {"leads": "active"})
    assert not _meets(entry(0, "active"), logged(0, "leads"), {"led": "active"})


@pytest.mark.parametrize(("record", "log", "late", "moved"), [
    # most rows within 2 s count, to the ms: with a clock 10 s ahead both meet, the second 2 s late
    ([entry(0), entry(1000, "on")], [logged(10_000), logged(13_000, "on")], {0: 0, 1: 2000}, 10_000),
    # and that both meet counts more than one that meets before
    ([entry(0), entry(1000, "on")], [logged(5_000), logged(10_000), logged(13_000, "on")], {0: 0, 1: 2000}, 10_000),
    # a ms more, and only one of them does: then the clock is set by the first that fits
    ([entry(0), entry(1000, "on")], [logged(10_000), logged(13_001, "on")], {0: 0}, 10_000),
    # two rows alike: the pairs with the least differences in all, each row once
    ([entry(0), entry(500)], [logged(20_000), logged(20_520)], {0: 0, 1: 20}, 20_000),
    # three rows that tell of one are no more than one
    ([entry(0), entry(1000, "on")], [*map(logged, (50_000, 50_100, 50_200)), logged(90_000), logged(91_000, "on")],
     {0: 0, 1: 0}, 90_000),
    ([entry(0)], [logged(7, "on")], {}, 0),
])
def test_the_clock_is_set_where_most_rows_meet(record, log, late, moved):
    both = side_by_side(record, log)
    assert {record.index(row.simulated): row.late_ms for row in both.rows if row.late_ms is not None} == late
    assert both.moved_ms == moved and len(both.rows) == len(record) + len(log) - len(late)


def test_rows_stand_by_time_and_those_of_the_record_first():
    both = side_by_side([entry(0), entry(0, "on", "KF2"), entry(5, "x", "KF3")],
                        [logged(103, "y", line=4), logged(105, "z", line=3), logged(100, line=2)])
    assert [(row.simulated and row.simulated.who, row.logged and row.logged.line) for row in both.rows] == [
        ("KF1", 2), ("KF2", None), (None, 4), ("KF3", None), (None, 3)]


def test_short_rows_remarks_and_many_rows_of_a_log(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("# made by hand\ntime,who,what,to\n1,KF1\n\n  # a remark\n2,KF1, role , off \nx,KF1,role,off\n")
    rows, problems = read_rig_log(path)
    assert [(row.line, row.time_ms, row.what) for row in rows] == [(3, 1000, ""), (6, 2000, "role off")]
    (problem,) = problems
    assert problem.startswith("line 7: time must be a time") and problem.endswith("; the row is left out")
    path.write_text("time,who,what\n" + "1,KF1,x\n" * 2000)
    assert len(read_rig_log(path)[0]) == 2000


@pytest.mark.parametrize(("when", "ms"), [
    ("-2.5", -2500), ("+3", 3000), ("1:02:03", 3_723_000), ("11:02:03", 39_723_000),
    ("2000-01-02 00:00:00", 86_400_000)])
def test_more_times_by_hand(tmp_path, when, ms):
    (tmp_path / "log.csv").write_text(f"time,who,what\n{when},KF1,x\n")
    assert read_rig_log(tmp_path / "log.csv")[0][0].time_ms == ms
