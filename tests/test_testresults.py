"""Filled test sheets, whole and damaged."""


import pytest

from lessons.__main__ import main
from lessons.papers.results import COLUMNS, MUST_SWITCH, Planned, StepVerdict, read_results

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
    rows = [f"4,{number},{MUST_SWITCH},285,{231 - number % 3 if number <= good else 400},yes,"
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
    said = " ".join(twelve.proves(0.97))
    assert "not shown" in said and "87 more" in said and "0.779" in said
    many = read(filled(99))
    assert many.more_needed(0.97) == 0
    assert "0.97 is shown" in " ".join(many.proves(0.97))
    assert "No switchover" in read(f"{HEAD}\n4,1,must switch,285,,,\n").proves(0.97)[0]
    assert many.proves(1.0) == ("99 of 99 switchovers passed. The plant file counts with 1: no number of "
                                "tests shows a certainty.",)
    with pytest.raises(ValueError, match="claim must be given: the sheet says none"):
        many.proves()


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


@pytest.mark.parametrize(("measured", "seen", "stated", "verdict"), [
    ("231", "✓", "fail (B)", "fail"), ("231", "ja", "failed, see remark", "fail"),
    ("231", "n/a", "pass", "open"), ("231", "yes", "passed with deviation", "open"),
    ("231", "✔", "", "pass"), ("231", "✗", "pass", "fail"), ("0,231", "yes", "pass", "open"),
])
def test_what_people_write_never_turns_a_failure_into_a_pass(measured, seen, stated, verdict, read):
    found = read("Step;Repeat;Type;Gap Least ms;Gap limit ms;Measured gap ms;As expected;Verdict\n"
                 f"4.0;1;must switch;175;285;{measured};{seen};{stated}\n"
                 "steps;4 x1 175-285\n")
    assert found.repeats[0].verdict == verdict


def test_a_gap_in_seconds_where_no_least_is_known(read):
    found = read(f"{HEAD}\n5,1,must switch,60,0.045,yes,pass\n")
    assert found.problems == (
        "line 2: a gap of 0.045 ms is far below its limit of 60 ms: was it read in seconds?",)


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
        ("4", "5", "open"), ("4", "6", "pass"), ("5", "1", "open"), ("caution", "", "open")]
    told = "\n".join(found.problems)
    for part in ("line 3: measured_gap_ms must be a number of ms >= 0, got 'abc'",
                 "line 4: 3 of 7 columns", "line 5: no step is named",
                 "line 6: step 4, repeat 1 stands in line 2 too; both count",
                 "line 6: step 4 is stated as passed, but the gap of 400 ms",
                 "line 8: as_expected must be yes or no or empty, got 'perhaps'",
                 "line 9: more cells than columns", "line 10: measured_gap_ms"):
        assert part in told
    # A failure that was repeated stays a failure.
    assert found.trials == 3 and found.successes == 2


def test_rows_of_other_kinds_are_no_tests(read):
    found = read("kind,step,repeat,type,gap_limit_ms,measured_gap_ms,as_expected,verdict\n"
                 "row,4,1,must switch,285,231,yes,pass\ncaution,It simulates.,,,,,,\n"
                 "steps,4 x1 -285,,,,,,\nclaim,0.9,,,,,,\n")
    assert len(found.repeats) == 1 and not found.problems and found.claim == 0.9


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


def test_text_by_value(read):
    """9 of 10, two-sided 90 %: 0.6058 to 0.9949 (tables of exact limits); 157 trials with one
    failure show 0.97 (0.97^157 + 157 x 0.03 x 0.97^156 = 0.049)."""
    assert 0.97**157 + 157 * 0.03 * 0.97**156 < 0.05 < 0.97**156 + 156 * 0.03 * 0.97**155
    lines = read(filled(9, bad=1) + "6,1,check,,,,\n,,,,,yes,\n").text(0.97).splitlines()
    assert lines == [
        "Steps:",
        "  4: fail (9 passed, 1 failed, 0 open; longest gap 400 ms)",
        "  5: pass (1 passed, 0 failed, 0 open)",
        "  6: open (0 passed, 0 failed, 1 open)",
        "Failed:",
        "  line 11, step 4, repeat 10: the gap of 400 ms is above its limit of 285 ms",
        "Switchovers:",
        "  9 of 10 switchovers passed: share 0.900, 90 % interval 0.606 to 0.995 (exact binomial).",
        "  With 95 % confidence at least 0.606 of such switchovers succeed: 0.97 is not shown.",
        "  147 more without a failure would show 0.97 beside the failures so far.",
        "  They prove this for the causes that were tested, in the state of that day. Faults that "
        "nobody can provoke by hand (a program that stands still, a silent interface) are not in "
        "these numbers.",
        "The file:",
        "  line 14: no step is named; the row belongs to none and is left out: yes"]
    lines = read(filled(99)).text(claim=0.9).splitlines()
    assert "Failed:" not in lines and "The file:" not in lines
    assert lines[-3:-1] == [
        "  With 95 % confidence at least 0.970 of such switchovers succeed: 0.9 is shown.",
        "  Nothing more is needed for it."]
    # 0.95^59 is the first power below 5 %
    assert read(f"{HEAD}\n4,1,must switch,285,,,\n").proves(0.95) == (
        "No switchover has been judged yet. 59 without a failure would show 0.95 with 95 % "
        "confidence.",)


def test_what_counts_as_a_trial(read):
    rows = [("4,1,must switch,285,200,yes,", "pass"), ("4,2,must switch,285,300,yes,", "fail"),
            ("4,3,must switch,285,,,", "open"), ("4,4,check,,,yes,", "pass"),
            ("4,5,check,,,no,", "fail")]
    found = read("\n".join([HEAD, *(row for row, _ in rows)]) + "\n")
    assert [each.verdict for each in found.repeats] == [verdict for _, verdict in rows]
    assert (found.trials, found.successes) == (2, 1)
    assert found.success(0.9).point == 0.5
    step, = found.steps
    assert (step.passed, step.failed, step.open, step.longest_gap_ms) == (2, 2, 1, 300.0)


@pytest.mark.parametrize(("passed", "failed", "left", "verdict"), [
    (1, 0, 0, "pass"), (1, 0, 1, "open"), (0, 0, 0, "open"), (5, 1, 2, "fail")])
def test_verdict_on_a_step(passed, failed, left, verdict):
    assert StepVerdict("4", "", passed, failed, left, None).verdict == verdict


@pytest.mark.parametrize(("values", "verdict", "why"), [
    ("285,285.5,yes,", "fail", "the gap of 285.5 ms is above its limit of 285 ms"),
    ("285,200,no,pass", "fail", "roles, lamps or record were not as expected"),
    ("285,200,yes,f", "fail", "stated as failed"), (",,,", "open", "not done"),
    ("285,,yes,", "open", "the limit is 285 ms, and no gap is entered"),
    ("285,200,,", "open", "nothing says whether roles, lamps and record were as expected"),
    ("285,200,ok,", "pass", "within its limit and as expected"), (",,x,", "pass", "as expected"),
    (",,,p", "pass", "as expected"), (",5,yes,", "pass", "as expected"),
    ("0,0,yes,", "pass", "within its limit and as expected"), ("-,-,-,-", "open", "not done"),
])
def test_what_a_verdict_rests_on(values, verdict, why, read):
    row, = read(f"{HEAD}\n4,1,must switch,{values}\n").repeats
    assert (row.verdict, row.why) == (verdict, why)


@pytest.mark.parametrize(("column", "word", "meant"), [
    *(("as_expected", word, True) for word in ("y", "yes", "ok", "true", "1", "x", "j", "JA")),
    *(("as_expected", word, False) for word in ("n", "no", "not ok", "false", "0", "Nein")),
    *(("verdict", word, True) for word in ("p", "pass", "passed", "OK", "good")),
    *(("verdict", word, False) for word in ("f", "fail", "failed", "not ok", "bad"))])
def test_every_word_is_understood(column, word, meant, read):
    row, = (found := read(f"step,{column}\n4,{word}\n")).repeats
    assert row.verdict == ("pass" if meant else "fail")
    assert (row.as_expected, row.stated) == (
        (meant, "") if column == "as_expected" else (None, "pass" if meant else "fail"))
    assert not any(problem.startswith("line") for problem in found.problems)


def test_damage_by_value(read):
    found = read("Some heading\nstep;verdict;verdict;own\n4;pass;fail;a\n4;good\n7;maybe;maybe;\n")
    assert [(each.line, each.verdict) for each in found.repeats] == [
        (3, "fail"), (4, "pass"), (5, "open")]
    assert found.problems[-4:] == (
        "column verdict stands there 2 times: the last one counts",
        "line 4: 2 of 4 columns; the rest counts as empty",
        "line 5: verdict must be pass or fail or empty, got 'maybe'; the row stays open until it can be read",
    )[-4:] or [each for each in found.problems if each.startswith("line")] == [
        "line 4: 2 of 4 columns; the rest counts as empty",
        "line 5: verdict must be pass or fail or empty, got 'maybe'; the row stays open until it can be read"]
    tabs = read("step\tmeasured_gap_ms\tgap_limit_ms\tas_expected\n4\t231,5 ms\t285\tyes\n")
    assert tabs.repeats[0].measured_gap_ms == 231.5 and tabs.repeats[0].verdict == "pass"
    assert read("step,as_expected\n4,yes\n".encode("utf-16-be").join([b"\xfe\xff", b""])).repeats
    endless = read(f"{HEAD}\n4,1,must switch,285,inf,yes,\n")
    assert "measured_gap_ms must be a number of ms >= 0, got 'inf'" in endless.problems[0]


def test_what_is_said_of_several_lines_is_said_once(tmp_path):
    path = tmp_path / "filled.csv"
    path.write_text("kind,step,repeat,type,gap_limit_ms,measured_gap_ms,as_expected\n"
                    "row,04,1,must switch,400,50,yes\nrow,04,2,must switch,400,51,yes\n"
                    "steps,04 x2 -60,,,,,\n", "utf-8")
    assert "lines 2, 3: gap_limit_ms of step 04 was 60 ms" in read_results(path).text(0.9)
    path.write_text("step,as_expected\n" + "04,n/a\n" * 9 + "04,yes\n05,n/a\n", "utf-8")
    assert "lines 2 to 10, 12: as_expected must be yes or no" in read_results(path).text(0.9)


def test_the_claim_of_a_plant_file_that_changed(tmp_path, capsys):
    path = tmp_path / "filled.csv"
    path.write_text("step,repeat,type,gap_limit_ms,measured_gap_ms,as_expected\n"
                    "04,1,must switch,60,50,yes\n", "utf-8")
    assert main(["results", str(path), "--plant", "brackenquay"]) == 0
    assert "0.97 is not shown" in capsys.readouterr().out
    assert main(["results", str(path), "--plant", "mirelow"]) == 2
    assert "--plant must have a pair, got mirelow" in capsys.readouterr().err


@pytest.mark.parametrize(("gaps", "told"), [
    (["231"] * 10, True), (["231.40", "231,4", "231.4 ms"], True),
    (["231"] * 9 + ["232"], False), (["231", "231"], False), ([""] * 10, False),
])
def test_readings_that_are_all_alike_are_told(gaps, told, read):
    rows = (f'08;{number};must switch;285;{gap};yes;pass' for number, gap in enumerate(gaps, 1))
    found = read("\n".join([HEAD.replace(",", ";"), *rows]) + "\n")
    alike = [each for each in found.problems if each.startswith("step 08: all")]
    assert bool(alike) is told and all(f"{len(gaps)} readings are 231" in each for each in alike)
    # It is a doubt, and no verdict: what was within the limit stays so.
    assert {each.verdict for each in found.repeats} <= {"pass", "open"}


@pytest.mark.parametrize(("step", "repeats", "least_ms", "limit_ms", "written", "number"), [
    ("08", 10, 175.0, 285.0, "08 x10 175-285", "8"), ("09", 1, None, 60.5, "09 x1 -60.5", "9"),
    ("10", 3, None, None, "10 x3", "10"), ("00", 2, 0.0, 0.0, "00 x2 0-0", "0"),
    ("A7", 1, None, None, "A7 x1", "A7"), ("4.0", 2, None, None, "4.0 x2", "4")])
def test_what_a_sheet_asked_for_is_written_and_read_again(step, repeats, least_ms, limit_ms, written, number):
    assert Planned.written(step, repeats, least_ms, limit_ms) == written
    assert Planned.read(f"{written}; nothing of ours") == {number: Planned(repeats, least_ms, limit_ms)}


@pytest.mark.parametrize(("measured", "verdict", "why"), [
    ("175", "pass", "within its limit and as expected"), ("285", "pass", "within its limit and as expected"),
    ("174.9", "open", "were the settings others, or the trigger late?"),
    ("1.75", "open", "were the settings others, or the trigger late?"),      # a hundredth of the least
    ("1.74", "open", "was it read in seconds?"), ("0", "open", "was it read in seconds?"),
    ("285.1", "fail", "the gap of 285.1 ms is above its limit of 285 ms")])
def test_a_gap_beside_the_least_that_can_be(measured, verdict, why, read):
    found = read(f"kind,{HEAD}\nrow,08,1,must switch,285,{measured},yes,\nsteps,08 x1 175-285\n")
    row, = found.repeats
    assert (row.verdict, row.why[-len(why):]) == (verdict, why)
    assert [f"line 2: step 08: {row.why}"] * (verdict == "open") == [
        each for each in found.problems if each.startswith("line 2: step 08: ")]


@pytest.mark.parametrize(("limit", "measured", "told"), [
    ("60", "0.59", True), ("60", "0.6", False), ("60", "0", False), ("", "0.1", False), ("0", "0", False)])
def test_seconds_are_suspected_below_a_hundredth_of_the_limit(limit, measured, told, read):
    found = read(f"{HEAD}\n5,1,must switch,{limit},{measured},yes,\n")
    assert any("was it read in seconds?" in each for each in found.problems) is told


def test_what_went_from_a_sheet_and_what_came_to_it(read):
    """Two steps of three repeats: one has lost 2 and 3, the other 1; one is gone, one was never there."""
    rows = "".join(f"row,{step},{repeat},check,,,yes,\n" for step, repeat in (
        ("08", 1), ("9", 2), ("9", 3), ("12", 1)))
    plan = "steps,08 x3; 09 x3; 10 x2"
    found = read(f"kind,{HEAD}\n{rows}{plan}\nclaim,0.97\n")
    assert found.problems == (
        "step 10 is missing: it had 2 repeats", "step 08: of 3 repeats 2, 3 are missing",
        "step 09: of 3 repeats 1 is missing", "step 12 was not in the sheet when it was made")
    assert found.claim == 0.97
    ours, = (each for each in read(f"kind,{HEAD}\n{rows}").problems)
    assert ours.startswith("the row 'steps' is missing") and not read(f"{HEAD}\n8,1,check,,,yes,\n").problems


def test_a_copy_counts_once_and_a_second_try_counts_too(read):
    """Word for word the same is a copy; rows that are not done, or without a number, are none."""
    done, other = "4,1,must switch,285,231,yes,", "4,1,must switch,285,232,yes,"
    open_, bare = "5,1,must switch,285,,,", "6,,check,,,yes,"
    found = read("\n".join([HEAD, done, done, other, open_, open_, bare, bare]) + "\n")
    assert [each.line for each in found.repeats] == [2, 4, 5, 6, 7, 8]
    assert found.problems == (
        "line 3: a copy of line 2, word for word; it counts once",
        "line 4: step 4, repeat 1 stands in line 2 too; both count",
        "line 6: step 5, repeat 1 stands in line 5 too; both count")


@pytest.mark.parametrize(("rows", "claim", "said"), [
    ("4,1,check,,,yes,", None, "no step of the sheet is one that counts"),
    ("4,1,must switch,60,50,yes,", None, "which chance of success is to be shown: 1 of 1 passed"),
    ("4,1,must switch,60,50,yes,", 1.0, "1 of 1 switchovers passed. The plant file counts with 1:"),
    # 0.97^99 = 0.0490
    ("4,1,must switch,60,,,", 0.97, "No switchover has been judged yet. 99 without a failure would show 0.97"),
    ("4,1,must switch,60,50,yes,", 0.97, "98 more without a failure would show 0.97.\n"),
    # with one failure 157: see above
    ("4,1,must switch,60,70,yes,", 0.97, "156 more without a failure would show 0.97 beside the failures so far.")])
def test_what_a_sheet_shows_with_and_without_a_claim(rows, claim, said, read):
    found = read(f"{HEAD}\n{rows}\n")
    assert said in found.text(claim)
    assert ("Failed:" in found.text(claim)) == (",70," in rows)
    with pytest.raises(ValueError, match="the sheet says none, such as 0.97"):
        found.proves()
