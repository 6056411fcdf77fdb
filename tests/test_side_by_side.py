"""A rig's own log beside the simulated record: by value, and whatever way the log was written."""

import pytest

from labkit.rig.rig import Rig
from labkit.rig.side_by_side import LoggedRow, read_rig_log, side_by_side
from labkit.switchover.record import record_csv
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
