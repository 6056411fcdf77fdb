"""Filled test sheets, whole and damaged."""


import pytest

from lessons.papers.results import COLUMNS, MUST_SWITCH, read_results

HEAD = "step,repeat,type,gap_limit_ms,measured_gap_ms,as_expected,verdict"


@pytest.fixture
def read(tmp_path):
    def reading(text, encoding="utf-8"):
        path = tmp_path / "filled.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return read_results(path)

    return reading


# What is entered (limit, measured, as expected, verdict) and what follows.
ROWS = [
    ("285", "231", "yes", "pass", "pass"),
    ("285", "231", "yes", "", "pass"),
    ("285", "285", "yes", "", "pass"),
    ("285", "285.1", "yes", "pass", "fail"),
    ("285", "231", "no", "pass", "fail"),
    ("285", "231", "yes", "fail", "fail"),
    ("285", "", "yes", "pass", "open"),
    ("285", "231", "", "", "open"),
    ("285", "", "", "", "open"),
    ("", "", "yes", "", "pass"),
    ("", "", "", "pass", "pass"),
    ("", "", "no", "", "fail"),
    ("", "", "", "", "open"),
    ("285", "231 ms", "Yes", "OK", "pass"),
]


@pytest.mark.parametrize(("limit", "measured", "seen", "stated", "verdict"), ROWS)
def test_verdict_on_a_row(limit, measured, seen, stated, verdict, read):
    found = read(f"{HEAD}\n4,1,must switch,{limit},{measured},{seen},{stated}\n")
    assert [each.verdict for each in found.repeats] == [verdict]
    assert bool(found.problems) == (stated == "pass" and verdict == "fail")


def filled(good, bad=0):
    rows = [f"4,{number},{MUST_SWITCH},285,{231 if number <= good else 400},yes,"
            for number in range(1, good + bad + 1)]
    return "\n".join([HEAD, *rows, "5,1,must not switch,,,yes,pass"]) + "\n"


# Lower limits after n successes without a failure, 0.05^(1/n): Clopper and Pearson (1934), and
# NIST/SEMATECH e-Handbook, sec. 7.2.4. With failures: R, binom.test(9, 10), from memory of its
# exact interval 0.5550 to 0.9975 (95 %, two-sided).
@pytest.mark.parametrize(("trials", "lower"), [(12, 0.779), (59, 0.9505), (99, 0.9702)])
def test_success_and_its_limit(trials, lower, read):
    found = read(filled(trials))
    assert (found.trials, found.successes) == (trials, trials)
    assert found.success().lower == pytest.approx(0.05 ** (1 / trials), rel=1e-9)
    assert found.success().lower == pytest.approx(lower, rel=1e-3)


def test_limits_with_a_failure(read):
    found = read(filled(9, bad=1))
    limits = found.success(0.95, "two")
    assert limits.lower == pytest.approx(0.5550, rel=1e-3)
    assert limits.upper == pytest.approx(0.9975, rel=1e-3)
    assert {each.step: each.verdict for each in found.steps} == {"4": "fail", "5": "pass"}
    assert found.steps[0].longest_gap_ms == 400
    assert "above its limit of 285 ms" in found.text()


def test_what_the_repeats_prove(read):
    twelve = read(filled(12))
    # 0.97^n <= 0.05 from n = 99 on.
    assert twelve.more_needed(0.97) == 99 - 12
    said = " ".join(twelve.proves())
    assert "not shown" in said and "87 more" in said and "0.779" in said
    many = read(filled(99))
    assert many.more_needed(0.97) == 0
    assert "0.97 is shown" in " ".join(many.proves())
    assert "No switchover" in read(f"{HEAD}\n4,1,must switch,285,,,\n").proves()[0]


def test_a_sheet_of_a_spreadsheet(read):
    """Semicolons, decimal commas, a heading above, another encoding, columns of one's own."""
    text = ("Test of 3 May;;;;;;;\n\nstep;repeat;type;gap_limit_ms;measured_gap_ms;as_expected;"
            "verdict;who\n4;1;must switch;285;231,5;ja;;Jörg\n4;2;must switch;285;229;yes;;Ann\n")
    found = read(text, "cp1252")
    assert [each.measured_gap_ms for each in found.repeats] == [231.5, 229.0]
    assert found.trials == 2
    assert any("cp1252" in each for each in found.problems)
    assert [each.line for each in found.repeats] == [4, 5]
    for encoding in ("utf-8-sig", "utf-16"):
        assert read(text, encoding).trials == 2
        assert not read(text, encoding).problems


def test_damage_costs_no_good_row(read):
    text = (f"{HEAD}\n"
            "4,1,must switch,285,231,yes,pass\n"
            "4,2,must switch,285,abc,yes,pass\n"       # no number
            "4,3,must switch\n"                         # cut off
            ",4,must switch,285,231,yes,pass\n"        # no step
            "4,1,must switch,285,400,yes,pass\n"       # the same repeat again, and it failed
            "\n"
            "4,5,must switch,285,231,perhaps,pass\n"   # no such word
            "4,6,must switch,285,240,yes,pass,x,y\n"   # more cells than columns
            "5,1,must switch,285,-3,yes,\n"
            "caution,,,,,,\n")
    found = read(text)
    assert [(each.step, each.repeat, each.verdict) for each in found.repeats] == [
        ("4", "1", "pass"), ("4", "2", "open"), ("4", "3", "open"), ("4", "1", "fail"),
        ("4", "5", "pass"), ("4", "6", "pass"), ("5", "1", "open"), ("caution", "", "open")]
    told = "\n".join(found.problems)
    for part in ("line 3: measured_gap_ms must be a number of ms >= 0, got 'abc'",
                 "line 4: 3 of 7 columns", "line 5: no step is named",
                 "line 6: step 4, repeat 1 stands in line 2 too; both count",
                 "line 6: step 4 is stated as passed, but the gap of 400 ms",
                 "line 8: as_expected must be yes or no or empty, got 'perhaps'",
                 "line 9: more cells than columns", "line 10: measured_gap_ms"):
        assert part in told
    # A failure that was repeated stays a failure.
    assert found.trials == 4 and found.successes == 3


def test_rows_of_other_kinds_are_no_tests(read):
    found = read("kind,step,repeat,type,gap_limit_ms,measured_gap_ms,as_expected,verdict\n"
                 "row,4,1,must switch,285,231,yes,pass\ncaution,It simulates.,,,,,,\n")
    assert len(found.repeats) == 1 and not found.problems


@pytest.mark.parametrize("name", ["repeat", "type", "gap_limit_ms", "measured_gap_ms",
                                  "as_expected", "verdict"])
def test_a_missing_column_is_named(name, read):
    names = HEAD.split(",")
    values = dict(zip(names, "4,1,must switch,285,231,yes,pass".split(","), strict=True))
    kept = [each for each in names if each != name]
    found = read(",".join(kept) + "\n" + ",".join(values[each] for each in kept) + "\n")
    assert len(found.repeats) == 1
    assert [each for each in found.problems if each.startswith(f"column {name} is missing")]
    # Whatever is left is still judged.
    assert found.repeats[0].verdict == ("open" if name == "measured_gap_ms" else "pass")


def test_a_misspelt_column_is_guessed_at(read):
    found = read("step,repeat,type,gap_limit_ms,mesured_gap_ms,as_expected,verdict\n"
                 "4,1,must switch,285,231,yes,pass\n")
    assert found.problems[0].startswith(
        "column measured_gap_ms is missing (is 'mesured_gap_ms' meant?)")


@pytest.mark.parametrize(("text", "message"), [
    ("", "must have a column 'step', found an empty file"),
    ("a,b\n1,2\n", "must have a column 'step', found a, b"),
    ("steps,verdict\n1,pass\n", r"\(is 'steps' meant\?\)"),
])
def test_without_steps_nothing_can_be_said(text, message, read):
    with pytest.raises(ValueError, match=message):
        read(text)


def test_without_rows(read):
    found = read(f"{HEAD}\n")
    assert found.problems == ("no row with a step was found below the heading",)
    with pytest.raises(ValueError, match="repeats must hold a judged switchover, got none"):
        found.success()


def test_the_columns_are_those_of_the_sheet():
    assert {*HEAD.split(","), "kind"} <= {*COLUMNS}
