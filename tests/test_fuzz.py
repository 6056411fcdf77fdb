"""Files and command lines at random: each is answered with a sentence, and nothing else happens.

Here stands a share of the cases, the same ones each time. More of them, so many times as many:
`WORKBOOK_FUZZ=50 python -m pytest tests/test_fuzz.py`; these are drawn anew each time.
"""

import contextlib
import dataclasses
import io
import json
import os
import re
import tempfile
import time
from functools import cache
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jupyterlab.labapp import LabApp

from labkit.evidence.example_year import example_year
from labkit.evidence.log import read_log, write_log
from labkit.evidence.log_analysis import analyse_log
from labkit.evidence.log_cleaning import clean_log
from labkit.plant.file import PlantFileError, find_file
from labkit.plant.plant import load_plant
from labkit.rig.stories import Replay, Story, find_stories
from lessons.__main__ import COMMANDS, main
from lessons.exercises.attempts import Attempt
from lessons.exercises.learner_record import LearnerRecord, checksum_of
from lessons.papers.results import COLUMNS, MUST_SWITCH
from tests.house import ROOT

MORE = int(os.environ.get("WORKBOOK_FUZZ", "0"))
LONGEST_S = 60
# To check a large plant that is whole takes seconds.
SHIPPED = ("mirelow", "brackenquay", "elderhang") if MORE else ()


def cases(count):
    return settings(max_examples=count * max(MORE, 1), derandomize=not MORE, deadline=None,
                    database=None, suppress_health_check=list(HealthCheck))


# ---------------------------------------------------------------- damage

ODD_LETTERS = ["\x00", "\x1b[2J", "\u202e", "\ufeff", "\u2028", "\uffff", "é", "\r", "\n", "\t", '"',
               "'", "[", "]", "{", "}", "=", "#", "\\", "<", ",", ";", "|", "$", "-", "."]
ODD_VALUES = ["0", "-1", "1e-300", "5e-324", "1e308", "1e999", "nan", "-inf", "true", '""', '"KF1"',
              "[]", "{}", "[[]]", '["KF1", "KF1"]', "{at_least = 1, of = []}", "0x" + "f" * 3000,
              "9" * 5000, "2031-01-01", "[" * 3000, '"' + "a" * 3000 + '"', '"\\u001b[2J"', "1,5",
              '{reached = ["KF10"]}', "0.9999999999999999", "1e-12", "100000000000000000000", ""]


@st.composite
def damaged(draw, text, values=ODD_VALUES):
    """Draw a text with one to four of its lines, words or letters changed, moved or gone."""
    for _ in range(draw(st.integers(1, 4))):
        lines = text.split("\n")
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(["value", "key", "drop", "twice", "swap", "letter", "cut"])):
            case "value":
                lines[at] = re.sub(r"(?<=[=:;,])[^=:;,]*$", lambda _: draw(st.sampled_from(values)),
                                   lines[at], count=1)
            case "key":
                word = draw(st.sampled_from(re.findall(r"\w+", text) or ["x"]))
                lines[at] = re.sub(r"\w+", lambda _: word, lines[at], count=1)
            case "drop":
                del lines[at:at + draw(st.integers(1, 9))]
            case "twice":
                lines.insert(at, lines[at])
            case "swap":
                other = draw(st.integers(0, len(lines) - 1))
                lines[at], lines[other] = lines[other], lines[at]
            case "letter":
                place = draw(st.integers(0, len(lines[at])))
                odd = draw(st.sampled_from(ODD_LETTERS) | st.characters(exclude_categories=["Cs"]))
                lines[at] = lines[at][:place] + odd + lines[at][place + 1:]
            case "cut":
                lines = lines[:at + 1]
        text = "\n".join(lines)
    return text


@st.composite
def as_bytes(draw, texts):
    """Draw the bytes of a text in some encoding, some with a byte that is none of its letters."""
    content = draw(texts).encode(draw(st.sampled_from(["utf-8"] * 4 + ["utf-16", "utf-8-sig"])))
    at = draw(st.integers(0, len(content)))
    return content[:at] + draw(st.sampled_from([b""] * 4 + [b"\xff", b"\x00"])) + content[at:]


# ---------------------------------------------------------------- what must hold


def contents(folder):
    return {file.relative_to(folder).as_posix(): file.read_bytes()
            for file in sorted(folder.rglob("*")) if file.is_file()}


def tried(folder, words, inside=()):
    """Carry out a command in a folder; nothing but `inside` may be other than before."""
    before, start = contents(folder), time.monotonic()
    out, err = io.StringIO(), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(words)
        except SystemExit as stopped:
            code = stopped.code
    said = out.getvalue() + err.getvalue()
    assert code in (0, 1, 2) and said.strip() and time.monotonic() - start < LONGEST_S, words
    assert (code == 2) == bool(err.getvalue().strip()), said
    assert not re.search(r"Errno|Traceback|\b\w+Error\b", said), said
    assert not re.search(r"[\x00-\x09\x0b-\x1f\u202e\u2028\uffff]", said), said
    assert not re.search("codec|null byte|out of range|isoformat|File exists", said), said
    for name, content in contents(folder).items():
        if before.get(name, content) != content:
            assert name.rpartition("/")[2] in said.partition("Written over")[2], (words, name)
        assert name in before or name.startswith(tuple(inside)), (words, name)
    assert set(before) <= set(contents(folder)), words
    return code, said


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


SMALL = 'format = 1\n[plant]\nname = "Mill"\n' + "".join(f"""
[[part]]
designation = "{name}"
what = "{kind}"
kind = "{kind}"
mtbf_h = 60000
mttr_h = 4
{more}
""" for name, kind, more in (
    ("TB1", "supply", ""), ("TB2", "supply", "fitted = false"), ("KF1", "controller", 'fed_by = ["TB1"]'),
    ("KF2", "controller", 'fed_by = ["TB1"]'), ("KF10", "rack", ""), ("KF10A", "interface", ""),
    ("WF1", "cable", 'joins = ["KF1", "KF10A"]'), ("WF2", "cable", 'joins = ["KF2", "KF10A"]'),
    ("WF3", "cable", 'joins = ["KF10A", "KF10"]'), ("WF9", "cable", 'joins = ["KF1", "KF2"]'))) + """
[pair]
units = ["KF1", "KF2"]
sync = ["WF9"]
coverage = 0.97
common_cause = 0.05
test_interval_h = 8760
[[twins]]
parts = ["WF1", "WF2"]
common_cause = 0.02
[[function]]
name = "control kept"
reached = ["KF10"]
[process]
set_point_m = 1.20
overflow_m = 1.44
low_trip_m = 0.60
[[costs.step]]
name = "lost"
function = "control kept"
longer_than_min = 15
cost = 1500
[[variant]]
name = "supply doubled"
fit = ["TB2"]
price_per_year = 900
part = [{parts = ["KF1", "KF2"], fed_by = ["TB1", "TB2"]}]
"""


PLANTS = [SMALL, *(find_file(name).read_text("utf-8") for name in SHIPPED)]


@cases(10)
@given(content=as_bytes(st.one_of(map(damaged, PLANTS))))
def test_plant_files(content, folder):
    file = folder / "plant.toml"
    file.write_bytes(content)
    code, said = tried(folder, ["check", "plant.toml"])
    counted = re.search(r"plant.toml: errors (\d+), warnings", said)
    assert code == (counted[1] != "0")
    if code:
        for line in re.findall(r".*error: .*", said)[:-1]:
            assert re.match(r"(line \d+: )?error: .+ (must|may|should) .*, got .+", line), line
        with pytest.raises(PlantFileError):
            load_plant(file)


@st.composite
def renumbered(draw):
    """Draw the small plant with one to three of its numbers at the ends of what is allowed."""
    lines = SMALL.split("\n")
    numbers = [at for at, line in enumerate(lines) if re.fullmatch(r"\w+ = [\d.]+", line)]
    for at in draw(st.lists(st.sampled_from(numbers), min_size=1, max_size=3)):
        number = draw(st.sampled_from(["0", "1e-12", "0.001", "0.5", "1", "3", "1e12", "9e14"]))
        lines[at] = f"{lines[at].partition(' =')[0]} = {number}"
    return "\n".join(lines)


@cases(1)
@given(text=renumbered())
def test_what_the_check_lets_through_has_its_papers(text, folder):
    (folder / "plant.toml").write_text(text, "utf-8", newline="\n")
    code, _ = tried(folder, ["check", "plant.toml"])
    made, said = tried(folder, ["sheets", "plant.toml", "--out", "papers"], ["papers/"])
    assert made == 2 * code, said


def own_questions():
    page = (ROOT / "lessons" / "teaching" / "own_questions.md").read_text("utf-8")
    return page.partition("```toml\n")[2].partition("```")[0]


@cases(8)
@given(content=as_bytes(damaged(own_questions())))
def test_own_questions(content, folder):
    (folder / "questions").mkdir(exist_ok=True)
    (folder / "questions" / "mine.toml").write_bytes(content)
    code, said = tried(folder, ["check", "questions/mine.toml"])
    counted = re.search(r"mine.toml: errors (\d+), warnings", said)
    assert code == (counted[1] != "0"), said
    for line in re.findall(r".*error: .*", said)[:-1]:
        assert re.match(r"(line \d+: )?error: .+ (must|may|should) .*, got .+", line), line


LOG = (ROOT / "tests" / "rig_logs" / "power_cut.csv").read_text("utf-8")


@cases(6)
@given(content=as_bytes(damaged(LOG)))
def test_logs_of_a_rig(content, folder):
    (folder / "rig_log.csv").write_bytes(content)
    tried(folder, ["beside", "rig_log.csv", "--fault=KF1: no power"])


# ---------------------------------------------------------------- logs, sheets, bundles, stories


@cache
def plant():
    return load_plant()


def log_text():
    with tempfile.TemporaryDirectory() as place:
        return write_log(example_year()[:60], Path(place) / "a.csv").read_text("utf-8")


CELLS = ["", "2031-02-30", "9999-12-31 23:59:59", "0001-01-01", "2031-01-01T00:00:00+14:00", "=1+1",
         "nan", "-1", "1e308", "KF1", "\x1b[2J", '"', "yes", "no", "9" * 5000, "x" * 200_000, "2e400"]


@cases(20)
@given(content=as_bytes(damaged(log_text(), CELLS)))
def test_logs(content, folder):
    file = folder / "log.csv"
    file.write_bytes(content)
    start = time.monotonic()
    try:
        log = read_log(file)
    except ValueError as error:
        assert re.search("must|cannot be read", str(error)), error
        return
    assert all(re.match(r"line \d+: ", each) for each in log.problems), log.problems
    try:
        analyse_log(clean_log(log.rows, plant()), plant())
    except ValueError as error:
        assert "must" in str(error), error
    assert time.monotonic() - start < LONGEST_S


ROW = {"kind": "row", "type": MUST_SWITCH, "gap_limit_ms": "285", "measured_gap_ms": "200",
       "as_expected": "yes"}
SHEET = ",".join(COLUMNS) + "\n" + "".join(
    ",".join((ROW | {"step": str(step), "repeat": str(repeat)}).get(name, "") for name in COLUMNS)
    + "\n" for step, repeat in ((1, 1), (2, 1), (3, 1), (3, 2), (3, 3)))


def test_the_sheet_before_the_damage_is_read(folder):
    (folder / "sheet.csv").write_text(SHEET, "utf-8")
    _, said = tried(folder, ["results", "sheet.csv"])
    assert "5 of 5 passed" in said


@cases(30)
@given(content=as_bytes(damaged(SHEET, CELLS)), claim=st.sampled_from(
    ["0.97"] * 6 + ["0", "1", "nan", "-1", "1e-300", "0.9999999999999999", "inf", "x"]))
def test_filled_test_sheets(content, claim, folder):
    (folder / "sheet.csv").write_bytes(content)
    tried(folder, ["results", "sheet.csv", f"--claim={claim}"])


def bundle_text():
    record = LearnerRecord(label="7")
    record.identity = "a" * 32
    for number in range(3):
        record.add(Attempt("01-downtime", 0, f"2031-03-03T08:0{number}:00+00:00", "answer",
                           "35 min/a", "RIGHT", 35.0))
    return record.to_bundle()


JSON_VALUES = ["null", "-1", "1e999", "NaN", "true", '""', '"\\ud800"', "[]", "{}", "[[]]",
               "[" * 3000, "9" * 5000, '"2031-01-01"', '"9999-12-31T23:59:59-14:00"', '"\\u001b[2J"']


@cases(20)
@given(content=as_bytes(damaged(bundle_text(), JSON_VALUES)), signed=st.booleans())
def test_bundles(content, signed, folder):
    """A bundle that is damaged, or forged with a checksum that fits, beside a good one."""
    if signed:
        with contextlib.suppress(ValueError, KeyError, TypeError, RecursionError, AttributeError):
            data = json.loads(content)
            content = json.dumps(data | {"checksum": checksum_of(data["attempts"])}).encode()
    (folder / "handed-in").mkdir(exist_ok=True)
    (folder / "handed-in" / "good.json").write_text(GOOD, "utf-8")
    (folder / "handed-in" / "odd.json").write_bytes(content)
    code, said = tried(folder, ["class", "handed-in"])
    assert code == 0 and re.match("[12] learner", said), said


GOOD = bundle_text()


@cases(20)
@given(content=as_bytes(damaged(json.dumps({
    "format": 1, "kind": "record", "label": "7", "identity": "a", "course": "", "attempts": {
        "x": dataclasses.asdict(Attempt("01-downtime", 0, "2031-03-03T08:00:00+00:00", "answer",
                                        "35", "RIGHT", 35.0))}}, indent=1), JSON_VALUES)))
def test_records(content, tmp_path_factory):
    place = tmp_path_factory.mktemp("record")
    (place / "record.json").write_bytes(content)
    record = LearnerRecord(place)
    new = Attempt("01-downtime", 0, "2031-03-04T08:00:00+00:00", "hint", "", "HINT")
    record.add(new)
    assert new in LearnerRecord(place).attempts() or "newer" in record.problem, record.problem
    assert content in contents(place).values()


@cases(6)
@given(content=as_bytes(damaged(json.dumps(json.loads(find_stories()[0][0].to_json()), indent=1),
                                JSON_VALUES)))
def test_stories(content, tmp_path_factory):
    place = tmp_path_factory.mktemp("stories")
    (place / "a.json").write_bytes(content)
    start = time.monotonic()
    found, wrong = find_stories(folder=place)
    assert len(found) + len(wrong) == len(find_stories()[0]) + 1 and time.monotonic() - start < 10
    assert all(each.startswith(str(place / "a.json")) and "must" in each for each in wrong), wrong
    with contextlib.suppress(ValueError):
        Replay(Story.from_json(content.decode("utf-8", "replace")), plant()).go_to(1)


# ---------------------------------------------------------------- command lines

ODD = ["", "-1", "nan", "1e9", "x" * 300, "\u202e", "nowhere/x.toml", ".", "../x", "mine.md", "=",
       "\ud800", "a\0b", "x/" * 2000, "\x1b[2J"]
FILES = ["small.toml", "bad.toml", "sheet.csv", "handed-in", "new.toml", "out", "01"]
OPTIONS = {
    "open": ["--no-browser", "--port=0", "--port=x", "--port=8890", "--seed=x", "--seed=-1",
             "--record=mine.md", "--record=out", "--record="],
    "copies": ["--seed=5", "--seed=-1", "--lesson=99", "--lesson="],
    "course": ["--plan=evening", "--seed=-1", "--plant=bad.toml", "--plant=x"],
    "beside": ["--fault=x", "--fault=", "--set=hold_ms=-1", "--set=", "--word=a=b", "--word==",
               "--plant=small.toml", "--plant=bad.toml", "--word=x"],
    "new": [], "check": [], "class": ["--csv=a.csv", "--csv=mine.md", "--picture=a.svg",
                                      "--picture=a.pdf", "--csv=nowhere/a.csv", "--csv=.",
                                      "--page=a.html", "--page=mine.md", "--aloud=b.html", "--names",
                                      "--marks=m.csv", "--pass=nan", "--pass=50", "--lesson=99",
                                      "--feedback=out", "--feedback=mine.md"],
    "results": ["--claim=2", "--claim=nan", "--claim=1e-300", "--claim=0.5"],
    "items": ["--draws=-1", "--draws=0", "--draws=x", "--only=x", "--only=01-"],
    "key": ["--seed=-1", "--seed=5", "--lesson=99", "--seed=x"],
    "worksheets": ["--seed=-1", "--seed=5", "--lesson=99", "--plant=small.toml", "--plant=bad.toml"],
    "decks": ["--seed=5", "--lesson=99", "--plant=bad.toml"],
    "exam": ["--seed=-1", "--lesson=99", "--variants=0", "--minutes=1", "--minutes=x", "--pass=101",
             "--export"],
    "figures": ["--plant=small.toml", "--plant=bad.toml", "--theme=dark", "--only=x"],
    "rig": ["--out=mine.md", "--out=nowhere/a.html", "--out=a.html", "--out=.", "--faults=3",
            "--faults=x", "--only=x", "--only=", "--only=KF1: no power"],
    "sheets": ["--variant=x", "--variant=supply doubled", "--out=mine.md", "--out=out", "--only=x",
               *(f"--set=hold_ms={each}" for each in ("800", "-1", "", "1e999", "[[[", "true")),
               "--set=x=1", "--set="],
}
# Without these a command would go on for minutes.
SHORT = {"beside": ["--fault=KF1: no power"],
         "copies": ["--lesson=01" if MORE else "--lesson=99"], "course": ["--plan=x"],
         "figures": ["--only=survival", "--theme=light"], "key": ["--lesson=01"],
         "worksheets": ["--lesson=01"], "decks": ["--lesson=01"],
         "exam": ["--lesson=01", "--variants=1"], "items": ["--draws=1"], "rig": ["--faults=0"],
         "sheets": ["--only=spares_plan"]}


@st.composite
def command_lines(draw):
    name = draw(st.sampled_from(sorted(OPTIONS)))
    options = st.sampled_from([*OPTIONS[name], "--help", "-x", "--"] if OPTIONS[name] else ["-x", ""])
    words = [draw(st.sampled_from(FILES * 2 + ODD)), *draw(st.lists(options, max_size=3)),
             *SHORT.get(name, ())]
    return [name, *draw(st.permutations(words))]


def test_every_command_has_its_odd_words():
    # `lecture` goes on until Ctrl-C.
    assert {*OPTIONS, "lecture"} == {*COMMANDS}


@cases(12)
@given(words=command_lines())
def test_command_lines(words, tmp_path_factory):
    above = tmp_path_factory.mktemp("above")
    place = above / "here"
    (place / "handed-in").mkdir(parents=True)
    (place / "handed-in" / "good.json").write_text(GOOD, "utf-8")
    for file, text in (("small.toml", SMALL), ("bad.toml", "format = 2"), ("sheet.csv", SHEET),
                       ("mine.md", "mine"), ("spares_plan.md", "mine")):
        (place / file).write_text(text, "utf-8")
    with mock.patch.dict(os.environ), mock.patch.object(LabApp, "launch_instance"):
        tried(place, words, inside=("",))
    assert [each.name for each in above.iterdir() if each.name != "x"] == ["here"]
