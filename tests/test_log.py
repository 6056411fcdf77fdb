"""A year of records: the invented year with its flaws, and logs that a reader brings.

Limits are checked against chi-square and beta quantiles of scipy and the NIST/SEMATECH
e-Handbook, section 8.4.5.1; what a right cleaning finds was planted in the year by hand.
"""

import math
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pytest
from scipy.stats import beta, chi2

from labkit.evidence.clock_change import elapsed_h, is_missing, is_repeated, summer_time
from labkit.evidence.example_year import example_year
from labkit.evidence.limits import Limits
from labkit.evidence.log import COLUMNS, LogRow, read_log, write_log
from labkit.evidence.log_analysis import KindFigures, analyse_log
from labkit.evidence.log_cleaning import clean_log
from labkit.plant.plant import load_plant


@pytest.fixture(scope="module")
def plant():
    return load_plant()


# ---------------------------------------------------------------- the clock


@pytest.mark.parametrize("year", [2024, 2031, 2035])
def test_clock_agrees_with_the_time_zone_data(year):
    try:
        zone = ZoneInfo("Europe/Berlin")
    except ZoneInfoNotFoundError:
        pytest.skip("no time zone data on this machine")
    begin = datetime(year, 1, 1, tzinfo=zone).astimezone(timezone.utc)
    for hour in range(0, 8760, 7):
        local = datetime(year, 1, 1) + timedelta(hours=hour, minutes=30)
        if is_missing(local):
            continue
        for fold in (0, 1):
            exact = local.replace(tzinfo=zone, fold=fold).astimezone(timezone.utc) - begin
            assert elapsed_h(local, year=year, second_pass=bool(fold)) == pytest.approx(
                exact / timedelta(hours=1), rel=1e-12)
    spring, autumn = summer_time(year)
    assert is_missing(spring) and is_repeated(autumn - timedelta(minutes=1))
    # at 03:00 the clock has been put on; the minute before it shows 01:59
    assert elapsed_h(datetime(2031, 3, 30, 3), year=2031) == 88 * 24 + 2
    # 298 days and 2.5 h, of which the night in spring has an hour less: the first pass, unless said
    assert elapsed_h(datetime(2031, 10, 26, 2, 30), year=2031) == 298 * 24 + 1.5


# ---------------------------------------------------------------- the invented year


def told(row):
    return row.start, row.end, row.designation, row.kind


def test_shape_of_the_year():
    rows = example_year()
    assert 410 <= len(rows) <= 430
    counts = Counter(row.kind for row in rows)
    assert counts["note"] == 110 and counts["cleaning"] == 26 and counts["bus noise"] == 38
    assert counts["role change test"] == 22 and counts["supply dip"] == 3
    assert counts["program change"] == 4
    more = set(map(told, example_year(second_failure=True))) - set(map(told, rows))
    # 14:08 and 5 h 6 min
    assert (datetime(2031, 7, 20, 14, 8), datetime(2031, 7, 20, 19, 14), "KF2", "failure") in more
    assert [row.no for row in rows] == list(range(1, len(rows) + 1))
    assert example_year(3) == example_year(3) != example_year(4)


@pytest.fixture(scope="module")
def drawn_years():
    return [example_year(seed) for seed in (*range(1, 11), 23, 27)]


def of_kind(rows, kind):
    return [one for one in rows if one.kind == kind]


def lasts_min(rows):
    return {(one.end - one.start) / timedelta(minutes=1) for one in rows if one.end}


def test_alarms_follow_the_tide_and_the_summer(drawn_years):
    """173 a year, each within 40 min of a high or low water every 12.42 h from new year on.

    The weights 1 - 0.8 cos of the time of year have a mean cos of -0.4; the spread of one alarm
    is sqrt(1/2 - 0.4^2). In the warm half 0.6 of them are of the probes.
    """
    fixed = {datetime(2031, 10, 26, 1, 30), datetime(2031, 10, 26, 2, 50)}
    alarms = [one for rows in drawn_years for one in of_kind(rows, "process alarm")
              if one.source == "panel" and one.start not in fixed]
    assert len(alarms) == 173 * len(drawn_years)
    assert min(one.start for one in alarms) == datetime(2031, 1, 1, 0, 5)
    assert {one.start.year for one in alarms} == {2031}
    hours = np.array([(one.start - datetime(2031, 1, 1)) / timedelta(hours=1) for one in alarms])
    early_min = (hours + 6.21) % 12.42 * 60 - 6.21 * 60
    moved = hours // 24 == 88  # the day on which an hour is missing
    assert 39.5 < early_min[~moved].max() <= 40 and -40.02 <= early_min[~moved].min() < -39.5
    season = np.cos(2 * np.pi * hours / 8760)
    assert abs(season.mean() + 0.4) < 4 * math.sqrt(0.34 / len(alarms))
    assert lasts_min(alarms) == set(range(3, 41))
    warm = [one.designation in ("BQ1", "BQ2", "BQ3", "BQ4") for one in alarms
            if 4 <= one.start.month <= 9]
    assert abs(np.mean(warm) - 0.6) < 4 * math.sqrt(0.24 / len(warm))
    assert all(one.designation == "BL1" for one in alarms if not 4 <= one.start.month <= 9)


def test_tests_and_noise_are_told_by_both_controllers(drawn_years):
    """The clock of B is 1.8 s ahead; the welder made 4 of 38 role changes within 3 hours."""
    for rows in drawn_years:
        tests = sorted(of_kind(rows, "role change test"), key=lambda one: one.start)
        for a, b in zip(tests[::2], tests[1::2], strict=True):
            assert (a.source, b.source) == ("controller A", "controller B")
            assert (a.start.weekday(), a.start.day < 8, a.start.hour, a.start.minute) == (1, True, 10, 0)
            assert (b.start - a.start) / timedelta(seconds=1) == 1.8
            away = "KF1 to KF2" if a.start.month % 2 else "KF2 to KF1"
            assert away in a.text and a.outcome == b.outcome == "good" and a.planned == "y"
        assert {one.start.month for one in tests} == {*range(1, 13)} - {8}
        noise = of_kind(rows, "bus noise")
        assert sum("without a fault" in one.text for one in noise) == 4
        assert all(0 <= (one.start - datetime(2031, 4, 8, 13, 2)) / timedelta(hours=1) <= 3
                   for one in noise)
    late_h = [(one.start - datetime(2031, 4, 8, 13, 2)) / timedelta(hours=1)
              for rows in drawn_years for one in of_kind(rows, "bus noise")]
    assert np.mean(late_h) == pytest.approx(1.5, abs=4 * 3 / math.sqrt(12 * len(late_h)))


def test_notes_and_routine_of_the_year(drawn_years):
    """A note a night; cleaning every other Monday; 33 jobs from 9 Jan on, of each in turn."""
    notes = [one for rows in drawn_years for one in of_kind(rows, "note")]
    assert {one.start.hour for one in notes} == {22, 23, 2, 4}
    assert {one.start.minute for one in notes} == set(range(60))
    assert all(len({one.start.date() for one in of_kind(rows, "note")}) == 110
               for rows in drawn_years)
    days = {one.start.timetuple().tm_yday for one in notes if one.start.year == 2031}
    assert min(days) == 1 and max(days) == 365 and {one.start.year for one in notes} == {2031}
    for rows in drawn_years:
        cleaning = of_kind(rows, "cleaning")
        assert [one.start for one in cleaning] == [
            datetime(2031, 1, 6, 8) + timedelta(days=14 * number) for number in range(26)]
    assert lasts_min(one for rows in drawn_years for one in of_kind(rows, "cleaning")) == set(
        range(35, 76))
    jobs = [one for rows in drawn_years for one in rows if one.text.startswith("planned: ")
            and one.restored_by == "maintenance" and "battery" not in one.text]
    assert len(jobs) == 33 * len(drawn_years)
    assert Counter(Counter(one.designation for one in jobs[:33]).values()) == {4: 7, 5: 1}
    days = {(one.start - datetime(2031, 1, 9, 9)) / timedelta(days=1) for one in jobs}
    assert days <= set(range(341)) and min(days) == 0 and max(days) == 340
    assert min(lasts_min(jobs)) in (20, 21) and max(lasts_min(jobs)) in (179, 180)
    assert Counter((one.kind, one.planned) for one in jobs) == {
        ("maintenance", "y"): 31 * len(drawn_years), ("failure", "n"): 2 * len(drawn_years)}


def test_what_is_drawn_into_the_missing_hour_stands_behind_it():
    """Seed 26 draws a note at 02:33 in the night in which the clock goes on from 2 to 3."""
    note, = (one for one in example_year(26)
             if datetime(2031, 3, 30, 1) < one.start < datetime(2031, 3, 30, 5))
    assert (note.kind, note.start) == ("note", datetime(2031, 3, 30, 3, 33)) and note.end == note.start


def test_ends_that_were_left_open(drawn_years):
    """Two alarms a year, none of the night with two clocks, and one change of the filter of blower 2."""
    for rows in drawn_years:
        open_rows = sorted((one.kind, one.text) for one in rows if one.end is None)
        assert [kind for kind, _ in open_rows] == ["maintenance", "process alarm", "process alarm"]
        assert open_rows[0][1] == "planned: filter of blower 2 changed"
        assert all(one.end for one in rows if one.start.date() == datetime(2031, 10, 26).date())


def test_rows_that_were_entered_twice(drawn_years):
    """Six a year, by hand, in the same second or 5 or 12 s later."""
    later_s = Counter()
    for rows in drawn_years:
        doubled = [one for one in rows if one.kind in ("process alarm", "maintenance")]
        first = {(one.designation, one.text, one.end): one.start for one in reversed(doubled)
                 if one.end}
        again = [one for one in doubled if one.end
                 and any(other is not one and other.end == one.end and other.text == one.text
                         and other.designation == one.designation for other in doubled)]
        assert len(again) == 12
        later_s += Counter((one.start - first[one.designation, one.text, one.end]).seconds
                           for one in again if one.source == "person")
    assert set(later_s) == {0, 5, 12}


@pytest.mark.parametrize("seed", [1, 2, 3, 11])
def test_cleaning_finds_what_was_planted(plant, seed):
    cleaned = clean_log(example_year(seed), plant)
    done = Counter(decision.why.split(":")[0].split(" after ")[0]
                   for decision in cleaned.decisions)
    assert done["the same text, part and class within a minute"] == 6
    assert done["both controllers wrote the same event"] == 11
    assert sum(count for why, count in done.items() if why.startswith("the end is open")) == 3
    assert done["marked as a failure, written as planned work"] == 2
    assert done["marked as planned work, written as a failure"] == 1
    assert done["no fault found, and back"] == 1
    assert sum("taken as KF20B" in decision.why for decision in cleaned.decisions) == 1
    assert sum("20 min in truth" in decision.why for decision in cleaned.decisions) == 1
    assert sum("closed at the start of a shift" in one.why for one in cleaned.decisions) == 1


@pytest.mark.parametrize("seed", [1, 2, 7])
def test_right_results_of_the_year(plant, seed):
    year = analyse_log(clean_log(example_year(seed), plant), plant)
    controllers = next(one for one in year.kinds if one.kind == "controller")
    assert (controllers.failures, controllers.exposure_h) == (1, 17520.0)
    assert controllers.mtbf_h.point == 17520.0
    # NIST/SEMATECH e-Handbook 8.4.5.1, time-censored
    assert controllers.mtbf_h.lower == pytest.approx(2 * 17520 / chi2.ppf(0.95, 4), rel=1e-9)
    assert controllers.mtbf_h.upper == pytest.approx(2 * 17520 / chi2.ppf(0.05, 2), rel=1e-9)
    assert round(controllers.mtbf_h.lower, -1) == 3690
    assert controllers.verdict == "neither proved nor disproved"
    assert year.counts["failure"] == 5
    assert [loss.function for loss in year.losses] == ["see and act", "control kept"]
    assert 60 * year.lost_h("control kept") == pytest.approx(52, rel=1e-9)
    assert year.lost_h("see and act") == pytest.approx(5.2, rel=1e-9)
    assert [(one.designation, one.longest_days) for one in year.latent] == [("KF20B", 28.0)]
    assert (len(year.false_switchovers), year.groups) == (4, 1)
    assert (year.tests, year.good_tests, len(year.missed_tests)) == (11, 11, 1)
    assert year.test_success.lower == pytest.approx(beta.ppf(0.05, 11, 1), rel=1e-9)
    assert len(year.one_sided_changes) == 1
    assert year.down_h_by_part["KF1"] == pytest.approx(3.4, rel=1e-9)
    repairs = [3.4, 2.5, 5.2, 25 / 6, 52 / 60]
    assert year.mttr_h.point == pytest.approx(sum(repairs) / 5, rel=1e-9)


def with_refused_test(**story):
    """The year, with a test in October that is refused and made up for the next day."""
    rows = example_year(**story)
    asked = next(row for row in rows if row.kind == "role change test" and row.start.month == 10)
    before = asked.start - timedelta(days=1)
    return (*rows, replace(asked, no=len(rows) + 1, start=before, end=before, outcome="refused",
                           text="refused: the standby was loading"))


def test_second_failure_and_refused_test(plant):
    year = analyse_log(clean_log(with_refused_test(second_failure=True), plant), plant)
    controllers = next(one for one in year.kinds if one.kind == "controller")
    assert controllers.failures == 2
    assert controllers.mtbf_h.lower == pytest.approx(2 * 17520 / chi2.ppf(0.95, 6), rel=1e-9)
    assert controllers.mtbf_h.upper == pytest.approx(2 * 17520 / chi2.ppf(0.05, 4), rel=1e-9)
    assert round(controllers.mtbf_h.lower, -1) == 2780
    assert controllers.verdict == "the year speaks against the assumption"
    assert (year.tests, year.good_tests) == (12, 11)


# ---------------------------------------------------------------- files


def test_file_and_back(tmp_path):
    rows = example_year()
    read = read_log(write_log(rows, tmp_path / "year.csv"))
    assert read.rows == rows and read.problems == ()


def test_names_of_a_reader(tmp_path, plant):
    path = tmp_path / "own.csv"
    path.write_text("Beginn,Ende,Anlage,Art,Meldung\n"
                    "11.02.2031 09:14,11.02.2031 12:38,KF1,failure,dead\n", "utf-8")
    read = read_log(path, columns={"start": "Beginn", "end": "Ende", "designation": "Anlage",
                                   "class": "Art", "text": "Meldung"})
    assert read.rows == (LogRow(1, datetime(2031, 2, 11, 9, 14), datetime(2031, 2, 11, 12, 38),
                                "KF1", "failure", "dead"),)
    assert analyse_log(clean_log(read.rows, plant), plant).down_h_by_part["KF1"] == pytest.approx(3.4)
    with pytest.raises(ValueError, match="columns must be among no, start.*got 'begin'"):
        read_log(path, columns={"begin": "Beginn"})


def test_damaged_file_loses_no_good_row(tmp_path):
    good = write_log(example_year()[:5], tmp_path / "good.csv").read_text("utf-8").splitlines()
    bad = [good[0], good[1], "x;2031-01-01 10:00;;KF1;failure;dead;;n;;", good[2],
           "7;yesterday;;KF1;failure;dead;;n;;", good[3] + ";one;two", good[4], good[5]]
    path = tmp_path / "bad.csv"
    path.write_bytes("\n".join(bad).replace("tide", "fl\xf6d").encode("cp1252"))
    read = read_log(path)
    assert len(read.rows) == 5
    text = "\n".join(read.problems)
    assert "no must be a whole number, got 'x'" in text
    assert "start must be a time such as 2031-02-11 09:14:03, got 'yesterday'" in text
    assert "more fields than columns" in text
    path.write_text("start;text\n", "utf-8")
    with pytest.raises(ValueError, match=r"a column 'designation' \(designation\) must be there"):
        read_log(path)


def test_empty_lines_are_no_rows_and_rows_count_from_one(tmp_path):
    path = tmp_path / "gaps.csv"
    path.write_text("start;designation;class;text\n\n2031-02-01 08:00;KF1;note;first\n\n"
                    "1.2.2031 9:30;KF2;note;second\n\n", encoding="utf-8")
    read = read_log(path)
    assert read.problems == ()
    assert [(row.no, row.start, row.end, row.designation) for row in read.rows] == [
        (1, datetime(2031, 2, 1, 8, 0), None, "KF1"),
        (2, datetime(2031, 2, 1, 9, 30), None, "KF2")]


def test_wrong_encoding_is_said(tmp_path):
    path = tmp_path / "old.csv"
    path.write_bytes(";".join(COLUMNS).encode() +
                     "\n1;2031-01-01 10:00:00;;KF1;note;Gerät\n".encode("cp1252"))
    read = read_log(path)
    assert read.rows[0].text == "Gerät"
    assert "not UTF-8" in read.problems[0]


# ---------------------------------------------------------------- single decisions


def row(no, start, end=None, designation="KF1", kind="failure", text="dead", **more):
    return LogRow(no, start, end, designation, kind, text, planned=more.pop("planned", "n"),
                  **more)


def test_end_before_start_is_an_open_end(plant):
    at = datetime(2031, 5, 1, 10)
    cleaned = clean_log([row(1, at, at - timedelta(hours=2))], plant)
    assert cleaned.rows[0].duration_h is None
    assert any("ends 120 min before it starts" in one.why for one in cleaned.decisions)


def test_true_time_over_both_clock_changes(plant):
    rows = [row(1, datetime(2031, 3, 30, 1, 30), datetime(2031, 3, 30, 3, 30)),
            row(2, datetime(2031, 10, 26, 1, 30), datetime(2031, 10, 26, 3, 30)),
            # an end in the hour that comes twice lies in the first pass, while nothing speaks against
            row(3, datetime(2031, 10, 26, 1, 40), datetime(2031, 10, 26, 2, 10), text="x")]
    assert [one.duration_h for one in clean_log(rows, plant).rows] == [1.0, 3.0, 0.5]
    winter = clean_log(rows, plant, clock_changes=False)
    assert [one.duration_h for one in winter.rows] == [2.0, 2.0, 0.5]


def test_second_pass_by_the_order_of_rows(plant):
    rows = [row(1, datetime(2031, 10, 26, 2, 40), text="one"),
            row(2, datetime(2031, 10, 26, 2, 20), text="two")]
    first, second = clean_log(rows, plant).rows
    assert (first.row.no, second.row.no) == (1, 2)
    assert 60 * (second.start_h - first.start_h) == pytest.approx(40, rel=1e-9)


def test_shift_end_without_a_remark_is_a_bound(plant):
    cleaned = clean_log([row(1, datetime(2031, 5, 1, 22), datetime(2031, 5, 2, 6))], plant)
    assert cleaned.rows[0].end_is_bound
    assert any("upper bound" in one.why for one in cleaned.decisions)


def test_unknown_part_is_counted_and_said(plant):
    cleaned = clean_log([row(1, datetime(2031, 5, 1), designation="XX9", text="gone")], plant)
    assert cleaned.rows[0].failure
    assert any("XX9 is not in the plant file" in one.why for one in cleaned.decisions)
    assert analyse_log(cleaned, plant).losses == ()


def test_overlapping_failures_lose_a_function_together(plant):
    at = datetime(2031, 5, 1)
    rows = [row(1, at, at + timedelta(hours=4), "KF1"),
            row(2, at + timedelta(hours=3), at + timedelta(hours=8), "KF2", text="dead too")]
    year = analyse_log(clean_log(rows, plant), plant)
    assert [(loss.function, loss.start_h % 24, loss.duration_h) for loss in year.losses] == [
        ("control kept", 2.0, 1.0)]


def test_no_rows_are_refused(plant):
    with pytest.raises(ValueError, match="rows must not be empty"):
        clean_log([], plant)


def test_a_year_without_failures_has_open_limits(plant):
    rows = [replace(one, kind="note") for one in example_year() if one.kind == "note"]
    year = analyse_log(clean_log(rows, plant), plant)
    assert math.isinf(year.kinds[0].mtbf_h.upper) and year.mttr_h is None
    assert year.losses == () and year.test_success is None


def why(cleaned):
    return [(one.no, one.done, one.why) for one in cleaned.decisions]


def hour(day, time="00:00", month=1):
    return datetime.fromisoformat(f"2031-{month:02}-{day:02} {time}")


def test_an_ordinary_row_needs_no_decision(plant):
    cleaned = clean_log([row(1, hour(2, "01:00"), hour(2, "03:30"))], plant)
    assert why(cleaned) == [] and cleaned.year == 2031
    one, = cleaned.rows
    # one day and one hour after new year
    assert (one.start_h, one.end_h, one.duration_h) == (25.0, 27.5, 2.5)
    assert (one.failure, one.planned, one.latent, one.merged, one.end_is_bound) == (
        True, False, False, (), False)


def test_the_night_of_two_passes(plant):
    night = [row(1, hour(26, "02:40", 10), text="a"), row(2, hour(26, "02:50", 10), text="b"),
             row(3, hour(26, "02:20", 10), text="c"), row(4, hour(26, "02:30", 10), text="d"),
             row(5, hour(26, "03:00", 10), text="e")]
    cleaned = clean_log(night, plant)
    first_h = cleaned.rows[0].start_h
    # 02:40, 02:50, then the clock goes back: 02:20 is 20 min after a second 02:00, which is 20 min
    # after 02:40; 03:00 in winter time is 40 min after the second 02:20
    assert [round(60 * (one.start_h - first_h)) for one in cleaned.rows] == [0, 10, 40, 50, 80]
    said = "its time comes twice that night; by its place among the rows it is the"
    assert [text for _, _, text in why(cleaned) if "twice" in text] == [
        f"{said} first pass", f"{said} first pass", f"{said} second pass", f"{said} second pass"]


def test_the_same_minute_twice_is_one_pass(plant):
    cleaned = clean_log([row(no, hour(26, "02:40", 10), text=str(no)) for no in (1, 2)], plant)
    assert cleaned.rows[0].start_h == cleaned.rows[1].start_h
    assert all("first pass" in text for _, _, text in why(cleaned) if "twice" in text)


def test_an_end_before_its_start_lies_in_the_second_pass(plant):
    rows = [row(1, hour(26, "02:50", 10), hour(26, "02:40", 10)),
            row(2, hour(26, "02:55", 10), hour(26, "02:55", 10), text="x")]
    cleaned = clean_log(rows, plant)
    assert [one.duration_h for one in cleaned.rows] == [pytest.approx(50 / 60), 0.0]
    assert why(cleaned)[1] == (1, "corrected", "it ends before it starts by the clock: the end lies "
                               "in the second pass of the hour, 50 min in truth")


def test_a_time_that_does_not_exist_is_said(plant):
    cleaned = clean_log([row(1, hour(30, "02:30", 3))], plant)
    assert why(cleaned)[0] == (1, "kept", "its time does not exist that night: the clock was set "
                               "late; taken as winter time")
    # 88 days and 2.5 h after new year
    assert cleaned.rows[0].start_h == 88 * 24 + 2.5


def test_the_year_is_that_of_most_rows(plant):
    rows = [row(1, datetime(2030, 12, 31, 23), text="a"), row(2, hour(1), text="b"),
            row(3, hour(2), text="c")]
    assert clean_log(rows, plant).year == 2031
    assert [one.start_h for one in clean_log(rows, plant).rows] == [-1.0, 0.0, 24.0]
    assert [clean_log(rows, plant, year=one).year for one in (1, 2030, 9998)] == [1, 2030, 9998]
    for wrong in (0, 9999):
        with pytest.raises(ValueError, match=f"year must be 1 to 9998, got {wrong}"):
            clean_log(rows, plant, year=wrong)


def test_doubles_are_merged_up_to_a_minute_and_no_further(plant):
    rows = [row(1, hour(1)), row(2, hour(1, "00:01:00"), hour(1, "02:00")),
            row(3, hour(1, "00:01:01")), row(4, hour(1, "00:00:30"), text="other"),
            row(5, hour(1, "00:00:40"), designation="KF2")]
    cleaned = clean_log(rows, plant)
    assert [(one.row.no, one.merged, one.end_h) for one in cleaned.rows] == [
        (1, (2,), 2.0), (4, (), None), (5, (), None), (3, (), None)]
    assert (2, "merged", "the same text, part and class within a minute: into row 1") in (
        why(cleaned))


def test_bus_noise_is_never_merged_and_two_sources_make_one_test(plant):
    rows = [row(1, hour(1), designation="WF1", kind="bus noise", text="errors"),
            row(2, hour(1, "00:00:10"), designation="WF1", kind="bus noise", text="errors")]
    rows += [row(no, hour(day, f"10:00:{second:02}"), kind="role change test", text="test",
                 source=source)
             for no, day, second, source in [(3, 2, 0, "controller A"), (4, 2, 1, "controller B"),
                                             (5, 3, 5, "controller B"), (6, 3, 8, "controller A"),
                                             (7, 4, 0, "controller A"), (8, 4, 2, "controller B")]]
    cleaned = clean_log(rows, plant)
    assert [one.row.no for one in cleaned.rows] == [1, 2, 3, 5, 7]
    assert [text for _, _, text in why(cleaned) if "both" in text] == [
        f"both controllers wrote the same event: into row {no}" for no in (3, 5, 7)]


@pytest.mark.parametrize("designation, text, taken_as, said", [
    ("KF20A", "KF20B is dead, KF20A works.", "KF20B", "the text says that KF20B has failed, the "
     "column says KF20A: taken as KF20B"),
    ("", "Interface KF20B. burnt", "KF20B", "the text says that KF20B has failed, the column says "
     "nothing: taken as KF20B"),
    ("KF1", "KF20B dead, KF20A dead", "KF1", None),  # two accused
    ("KF1", "KF1 dead", "KF1", None),
    ("KF1", "swapped for the one of KF2", "KF1", None),
    ("", "something dead", "", "no designation is not in the plant file: counted without a part"),
])
def test_the_text_may_correct_the_part(plant, designation, text, taken_as, said):
    cleaned = clean_log([row(1, hour(1), hour(1, "01:00"), designation, text=text)], plant)
    assert cleaned.rows[0].row.designation == taken_as
    assert [one.why for one in cleaned.decisions] == ([said] if said else [])


@pytest.mark.parametrize("kind, mark, text, failure, planned", [
    ("failure", "n", "KF1 dead", True, False),
    ("failure", "y", "KF1 dead", False, True),
    ("failure", "n", "fan changed by schedule", False, True),
    ("failure", "n", "by schedule, found broken", True, False),
    ("maintenance", "y", "fan changed by schedule", False, True),
    ("maintenance", "y", "fan broken", True, False),
    ("maintenance", "y", "planned: broken fan", False, True),
    ("note", "n", "fan broken", False, False),
])
def test_planned_work_and_failures_by_what_was_written(plant, kind, mark, text, failure, planned):
    one, = clean_log([row(1, hour(1), hour(1, "01:00"), kind=kind, text=text, planned=mark)],
                     plant).rows
    assert (one.failure, one.planned) == (failure, planned)


def test_a_fault_that_comes_back_within_a_fortnight_is_one(plant):
    sign = row(1, hour(1, "10:00"), hour(1, "11:00"), text="no fault found")

    def counted(back, **more):
        cleaned = clean_log([sign, row(2, back, back + timedelta(hours=1), **more)], plant)
        return [one.failure for one in cleaned.rows], why(cleaned)

    assert counted(hour(15, "10:00")) == (
        [False, True],
        [(1, "merged", "no fault found, and back after 14 days: the first sign of row 2, counted "
          "once")])
    assert counted(hour(15, "10:01"))[0] == [True, True]
    assert counted(hour(5), designation="KF2", text="KF2 dead")[0] == [True, True]
    assert counted(hour(5), kind="note")[0] == [True, False]
    # what is written at the same moment is another row, and did not come back
    assert counted(hour(1, "10:00"), text="KF1 dead")[0] == [True, True]


@pytest.mark.parametrize("end, remark, end_h, bound", [
    ("2031-01-02 06:00", "KF1 ran again at 22:30", 22.5, False),   # the evening before
    ("2031-01-02 06:00", "works again at 05:15", 29.25, False),
    ("2031-01-02 06:00", "running again at 06:00", 30.0, False),
    ("2031-01-02 06:00", "", 30.0, True),
    ("2031-01-02 06:01", "", 30 + 1 / 60, False),
])
def test_an_end_at_the_start_of_a_shift(plant, end, remark, end_h, bound):
    cleaned = clean_log([row(1, hour(1, "20:00"), datetime.fromisoformat(end), remark=remark)],
                        plant)
    one, = cleaned.rows
    assert (one.end_h, one.end_is_bound) == (pytest.approx(end_h, rel=1e-12), bound)
    if "22:30" in remark:
        assert why(cleaned) == [(1, "corrected", "closed at the start of a shift; the remark says "
                                 "that it ran 7.5 h earlier")]


# ---------------------------------------------------------------- numbers, by hand


@pytest.mark.parametrize("assumed_mtbf_h, verdict", [
    (9.9, "the year is better than the assumption"), (10, "neither proved nor disproved"),
    (20, "neither proved nor disproved"), (20.1, "the year speaks against the assumption"),
])
def test_verdict_on_an_assumption(assumed_mtbf_h, verdict):
    limits = Limits(15.0, 10.0, 20.0, 0.9, "two")
    assert KindFigures("panel", 1, 8760.0, 1, limits, assumed_mtbf_h).verdict == verdict


def figures(plant, *rows):
    return analyse_log(clean_log(rows, plant, year=2031), plant)


def test_counts_and_hours_of_a_small_log(plant):
    year = figures(
        plant,
        row(1, hour(1), hour(1, "02:00"), "KF1"),
        row(2, hour(3), hour(3, "01:00"), "KF10", text="broken"),
        row(3, hour(4), hour(4, "06:30"), "KF1", "maintenance", "by schedule", planned="y"),
        row(4, hour(5), None, "KF2", "maintenance", "planned", planned="y"),
        row(5, hour(6), hour(6, "01:00"), "PH1", text="no fault found"),
        row(6, hour(8), hour(8, "03:00"), "PH1", text="dark, failed"),
        row(7, hour(9), hour(9, "05:00"), "XX9", text="gone"),
        row(8, hour(10), hour(10, "00:30"), "", text="gone too"),
        row(9, hour(11), kind="program change", text="KF1 and KF2: new gain"),
        row(10, hour(12), kind="program change", text="KF2: new gain"),
        row(11, hour(13), kind="program change", text="gain"),
        row(12, hour(14), kind="note", text="KF1 looks tired"),
    )
    assert year.counts == {"failure": 5, "planned work": 2, "program change": 3, "first sign": 1,
                           "note": 1}
    assert year.planned_h == 6.5 and year.one_sided_changes == (10,)
    assert list(year.down_h_by_part.items()) == [
        ("XX9", 5.0), ("PH1", 3.0), ("KF1", 2.0), ("KF10", 1.0), ("no part", 0.5)]
    assert year.mttr_h.point == pytest.approx((2 + 1 + 3 + 5 + 0.5) / 5)
    assert [(one.kind, one.units, one.exposure_h, one.failures, one.assumed_mtbf_h)
            for one in year.kinds] == [
        ("controller", 2, 17_520.0, 1, 60_000.0), ("rack", 3, 26_280.0, 1, 110_000.0),
        ("panel", 1, 8760.0, 1, 45_000.0)]


def test_a_failure_with_an_open_end_counts_without_hours(plant):
    year = figures(plant, row(1, hour(1), None, "PH1"), row(2, hour(2), hour(2, "02:00"), "KF1"))
    assert year.down_h_by_part == {"KF1": 2.0, "PH1": 0.0}
    assert year.counts["failure"] == 2 and year.mttr_h.point == 2.0


def test_switchovers_a_day_apart_are_one_group(plant):
    text = "Role change without a fault"
    times = [hour(1, "10:00"), hour(2, "10:00"), hour(3, "10:01"), hour(3, "11:00")]
    year = figures(plant, *(row(no, at, kind="note", text=text) for no, at in enumerate(times, 1)))
    assert year.false_switchovers == (10.0, 34.0, 58 + 1 / 60, 59.0) and year.groups == 2


def test_an_outage_goes_on_while_other_parts_come_and_go(plant):
    year = figures(plant, row(1, hour(1, "01:00"), hour(1, "06:00"), "KF1"),
                   row(2, hour(1, "02:00"), hour(1, "05:00"), "KF2"),
                   row(3, hour(1, "03:00"), hour(1, "04:00"), "PH1"),
                   row(4, hour(2), hour(2, "01:00"), "KF10"))
    assert [(one.function, one.start_h, one.duration_h, one.parts) for one in year.losses] == [
        ("control kept", 2.0, 3.0, ("KF1", "KF2", "PH1")),
        ("see and act", 3.0, 1.0, ("KF1", "KF2", "PH1")),
        ("control kept", 24.0, 1.0, ("KF10",))]
    assert (year.lost_h("control kept"), year.lost_h("see and act")) == (4.0, 1.0)


def switchover_tests(*days, text="done"):
    return [row(100 + day, hour(day, "10:00"), kind="role change test", text=text) for day in days]


@pytest.mark.parametrize("found_at, tests, window_h", [
    ("10:00", (5, 8), (4 * 24 + 10, 7 * 24 + 10)),      # found at the test itself
    ("11:00", (5, 8), (4 * 24 + 10, 7 * 24 + 10)),      # an hour after it, still by it
    ("11:01", (5, 8), (7 * 24 + 10, 7 * 24 + 11 + 1 / 60)),
    ("10:20", (5, 8, "10:15"), (7 * 24 + 10, 7 * 24 + 10.25)),  # the last test of that hour
    ("10:00", (), (0.0, 7 * 24 + 10)),                  # nothing is known since new year
])
def test_window_of_a_fault_found_late(plant, found_at, tests, window_h):
    silent = row(1, hour(8, found_at), None, "KF20B", text="dead since unknown")
    again = [row(2, hour(8, each), kind="role change test", text="again")
             for each in tests if isinstance(each, str)]
    tests = [each for each in tests if not isinstance(each, str)]
    found, = figures(plant, silent, *again, *switchover_tests(*tests)).latent
    assert (found.no, found.designation) == (1, "KF20B")
    assert (found.last_good_h, found.found_h) == pytest.approx(window_h)
    assert found.longest_days == pytest.approx((window_h[1] - window_h[0]) / 24)


def test_missed_and_refused_tests(plant):
    # gaps of 2, 2, 2 and 4 days: the last is more than 1.5 times the usual 2
    year = figures(plant, *switchover_tests(1, 3, 5, 7, 11))
    assert year.missed_tests == ((6 * 24 + 10.0, 10 * 24 + 10.0),)
    assert (year.tests, year.good_tests) == (5, 5)
    # 95 % lower limit of 5 out of 5: 0.05^(1/5)
    assert year.test_success.lower == pytest.approx(0.05 ** 0.2, rel=1e-12)
    # 3 days are 1.5 times 2 and not more; two gaps are too few to know the usual one
    assert figures(plant, *switchover_tests(1, 3, 5, 8)).missed_tests == ()
    assert figures(plant, *switchover_tests(1, 2, 10)).missed_tests == ()
    assert len(figures(plant, *switchover_tests(1, 2, 3, 10)).missed_tests) == 1
    # gaps of 1, 1, 3 and 4: the usual one is the upper of the two in the middle, 3
    assert figures(plant, *switchover_tests(1, 2, 3, 6, 10)).missed_tests == ()
    refused = figures(plant, *switchover_tests(1, 3), *switchover_tests(5, text="Refused: loading"),
                      *switchover_tests(7, text="FAILED"))
    assert (refused.tests, refused.good_tests) == (4, 2)


@pytest.mark.parametrize("text, outcome, good", [
    ("as expected", "", True),
    ("test failed, the standby did not take over", "", False),
    ("Refused: loading", "", False),
    # Nothing failed here; the texts of the first edition counted as failed.
    ("role change KF1 to KF2, nothing failed", "", True),
    ("no rack failed and none was refused", "", True),
    ("never failed so far; this time it failed", "", False),
    ("failover as expected", "", True),
    # What is written in the column goes before any words.
    ("the lamp of TF1 failed, role change as expected", "good", True),
    ("as expected but for the level", "failed", False),
    ("", "refused", False),
])
def test_what_a_test_came_to(plant, text, outcome, good):
    one = row(1, hour(8), kind="role change test", text=text, outcome=outcome)
    assert one.test_is_good is good
    assert figures(plant, one).good_tests == good


def test_outcomes_are_kept_and_asked_for(tmp_path):
    year = with_refused_test()
    outcomes = {one.outcome for one in year if one.kind == "role change test"}
    assert outcomes == {"good", "refused"}
    path = write_log(year, tmp_path / "year.csv")
    assert read_log(path).rows == year
    # The file of before had no such column; it reads as it did, by its texts.
    old = "\n".join(line.rpartition(";")[0] for line in path.read_text("utf-8").splitlines())
    path.write_text(old, "utf-8")
    without = read_log(path)
    assert without.problems == ()
    assert [one.test_is_good for one in without.rows] == [one.test_is_good for one in year]
    path.write_text("start;designation;class;text;outcome\n"
                    "2031-05-01 10:00;KF1;role change test;moved;Good\n"
                    "2031-06-01 10:00;KF1;role change test;moved;so so\n", "utf-8")
    read = read_log(path)
    assert [one.outcome for one in read.rows] == ["good", ""]
    assert read.problems == ("line 3: outcome must be good, failed, refused or empty, got "
                             "'so so'; read as empty",)
