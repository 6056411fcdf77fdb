"""A year of records: the invented year with its flaws, and logs that a reader brings.

Limits are checked against chi-square and beta quantiles of scipy and the NIST/SEMATECH
e-Handbook, section 8.4.5.1; what a right cleaning finds was planted in the year by hand.
"""

import math
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest
from scipy.stats import beta, chi2

from labkit.evidence.clock_change import elapsed_h, is_missing, is_repeated, summer_time
from labkit.evidence.example_year import example_year
from labkit.evidence.log import COLUMNS, LogRow, read_log, write_log
from labkit.evidence.log_analysis import analyse_log
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


# ---------------------------------------------------------------- the invented year


def test_shape_of_the_year():
    rows = example_year()
    assert 410 <= len(rows) <= 430
    counts = Counter(row.kind for row in rows)
    assert counts["note"] == 110 and counts["cleaning"] == 26 and counts["bus noise"] == 38
    assert counts["role change test"] == 22 and counts["supply dip"] == 3
    assert counts["program change"] == 4
    assert [row.no for row in rows] == list(range(1, len(rows) + 1))
    assert example_year(3) == example_year(3) != example_year(4)


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
    assert cleaned.clock_offset_s == pytest.approx(1.8, abs=1e-9)


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
    assert (len(year.false_switchovers), year.bursts) == (4, 1)
    assert (year.tests, year.good_tests, len(year.missed_tests)) == (11, 11, 1)
    assert year.test_success.lower == pytest.approx(beta.ppf(0.05, 11, 1), rel=1e-9)
    assert len(year.one_sided_changes) == 1
    assert year.down_h_by_part["KF1"] == pytest.approx(3.4, rel=1e-9)
    repairs = [3.4, 2.5, 5.2, 25 / 6, 52 / 60]
    assert year.mttr_h.point == pytest.approx(sum(repairs) / 5, rel=1e-9)


def test_second_failure_and_refused_test(plant):
    year = analyse_log(clean_log(example_year(second_failure=True, refused_test=True), plant), plant)
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
            row(2, datetime(2031, 10, 26, 1, 30), datetime(2031, 10, 26, 3, 30))]
    assert [one.duration_h for one in clean_log(rows, plant).rows] == [1.0, 3.0]
    winter = clean_log(rows, plant, clock_changes=False)
    assert [one.duration_h for one in winter.rows] == [2.0, 2.0]


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
