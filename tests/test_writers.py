"""Who writes a rack around a fault, against the pair itself, and the panel that shows it."""

import itertools
import logging
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.writers import (
    AFTER_MS,
    BEFORE_MS,
    COURSE_S,
    SITUATIONS,
    Course,
    _rack,
    writers_run,
    writers_text,
)
from labkit.switchover.engine import Switchover
from labkit.switchover.racks import writer_changes
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings
from lessons.panels.writers_panel import CLOCKS, writers_panel
from lessons.pictures.writers_picture import writers_alt_text, writers_svg

RUNS = [
    pytest.param(writers_run(situation, ask_racks=ask, third_vote=vote),
                 id=f"{situation}-{ask}-{vote}")
    for situation in SITUATIONS for ask in (True, False) for vote in (True, False)
]


@pytest.mark.parametrize(
    ("situation", "ask", "vote", "leaders", "writers"),
    [
        # Rule 4: a fresh mark, or the third voter, says that the partner lives.
        ("sync cable cut", True, False, ("KF1",), ("KF1",)),
        ("sync cable cut", False, True, ("KF1",), ("KF1",)),
        # Rule 10: without the question both lead and write by turns.
        ("sync cable cut", False, False, ("KF1", "KF2"), ("KF1", "KF2")),
        # Two lead by lamp, but the mark lets one write.
        ("sync cable cut before, then KF1 frozen", True, False, ("KF1", "KF2"), ("KF2",)),
        # A third voter hears that KF1 says that it leads: it is no cure for a frozen program.
        ("sync cable cut before, then KF1 frozen", True, True, ("KF1",), ()),
        # Without partner and voter each has one vote of three: both give up.
        ("third voter lost before, then sync cable cut", True, True, (), ()),
        ("third voter lost before, then sync cable cut", True, False, ("KF1",), ("KF1",)),
        ("KF2 reaches no rack, then KF1 without power", True, False, (), ()),
        ("KF1 without power", True, False, ("KF2",), ("KF2",)),
    ],
)
def test_who_leads_and_who_writes(situation, ask, vote, leaders, writers):
    run = writers_run(situation, ask_racks=ask, third_vote=vote)
    assert (run.leaders, run.writers) == (leaders, writers)


@pytest.mark.parametrize("seed", range(1, CLOCKS + 1))
def test_turns_are_those_that_the_pair_counts(seed):
    run = writers_run("sync cable cut", ask_racks=False, seed=seed)
    pair = Switchover(load_plant(), PairSettings(ask_racks=False), seed=seed)
    counted = writer_changes(tuple(pair.clocks.values()), 10_000, 14_000)
    assert run.turns_per_s == counted // 4
    # Each writes once a cycle: two changes in 40 ms.
    assert run.turns_per_s == 2 * 1000 // 40


@pytest.mark.parametrize("run", RUNS)
def test_runs_hang_together(run):
    times = [ms for ms, _ in run.writes]
    assert times == sorted(times) and all(-BEFORE_MS <= ms <= AFTER_MS for ms in times)
    assert set(run.writers) <= set(run.leaders)
    shares = sum(run.shares.values())
    assert math.isclose(shares, 1.0, rel_tol=1e-12) or not run.writers
    fought = len(run.writers) > 1
    assert fought == (run.turns_per_s > 0)
    # Nobody writes while the outputs are in their fail state.
    for ms, state in run.outputs:
        if state == "fail state":
            assert not [write for write in times if write >= ms]


@pytest.mark.parametrize("reads_mm", [-10.0, 4.0, 0.0])
def test_two_loops_drift_apart_as_their_integrators_say(reads_mm):
    """d(difference)/dt = gain / reset time * difference of the readings, by hand: 0.9 / 60 * 10 mm."""
    run = writers_run("sync cable cut", ask_racks=False, kf2_reads_mm=reads_mm)
    joins_s = 0.229
    expected = 0.9 / 60 * abs(reads_mm) / 1000 * (COURSE_S - joins_s)
    # the loop acts every 0.2 s, and its last act lies up to as long before
    assert run.course.apart == pytest.approx(expected, rel=0.3 / COURSE_S, abs=1e-12)
    first, second = (run.course.opening[unit][1] for unit in ("KF1", "KF2"))
    assert abs(first - second) <= 0.9 / 60 * abs(reads_mm) / 1000 + 1e-12, "the standby has tracked"
    # both follow their mean reading, so that the level goes half of the difference the other way
    assert abs(run.course.level_m[-1] - 1.2 + reads_mm / 2000) < 0.1 * abs(reads_mm) / 1000 + 1e-9


def test_who_does_not_write_has_no_course():
    run = writers_run("sync cable cut")
    assert not any(run.course.opening["KF2"]) and run.course.apart == 0
    assert len(run.course.time_s) == len(run.course.level_m) == COURSE_S + 1
    with pytest.raises(TypeError, match="kf2_reads_mm"):
        writers_run("no fault", kf2_reads_mm="x")


def test_where_nobody_writes_the_pumps_drop_too():
    """30 L/s over 1.5 m2 is 20 mm/s: 0.6 m in 30 s from the last held output, 0.5 s after a write."""
    level_m = writers_run("KF2 reaches no rack, then KF1 without power").course.level_m
    assert level_m[30] > 0.6 and level_m[31] == pytest.approx(0.6) == level_m[-1]


def test_without_a_fault_the_writes_come_each_cycle():
    run = writers_run("no fault")
    times = [ms for ms, _ in run.writes]
    assert {b - a for a, b in itertools.pairwise(times)} == {PairSettings().cycle_ms}
    assert run.roles == {"KF1": ((-BEFORE_MS, "active"),), "KF2": ((-BEFORE_MS, "standby"),)}


@pytest.mark.parametrize("run", RUNS)
def test_picture_and_words_agree(run):
    svg, alt, said = writers_svg(run), writers_alt_text(run), writers_text(run)
    assert len(alt.split()) <= 60
    assert run.verdict in said and run.verdict[1:] in svg
    assert re.search(r'role="img" aria-label="[^"]+"', svg)
    assert len(re.findall(r'class="eventhead"', svg)) == sum(u == "KF2" for _, u in run.writes)
    assert ("fail state" in svg) == (run.outputs[-1][1] == "fail state")
    assert len(said.splitlines()) == 6


ONE, TWO = "KF1", "KF2"
LONE = writers_run("no fault")


def run_of(*writes, leaders=(ONE,), opening=None, end="written"):
    """Return a run with these writes, each (ms, unit), and who leads at its end."""
    roles = {unit: ((-200, "standby"), (250, "active")) if unit in leaders else ((-200, "standby"),)
             for unit in (ONE, TWO)}
    course = Course((0.0, 60.0, 120.0), (1.2, 1.3, 1.234), opening or {ONE: (0.6, None, 0.5), TWO: (None, 0.7, 0.25)})
    return replace(LONE, writes=writes, roles=roles, course=course, outputs=((-200, "written"), (9, end)))


@pytest.mark.parametrize(("writes", "writers", "turns", "shares", "gap"), [
    # at the end is after 400 ms, for 400 ms; looked at is from -200 to 800 ms
    (((0, ONE), (400, TWO), (500, ONE), (700, ONE)), (ONE,), 0, (0.75, 0.25), 400),
    # of the last four three are followed by the other, and so is the last by the first: 4 in 400 ms
    (((0, ONE), (410, ONE), (430, TWO), (600, ONE), (700, TWO)), (ONE, TWO), 10, (130 / 400, 270 / 400), 410),
    (((401, TWO),), (TWO,), 0, (0.0, 399 / 400), 601),  # no value stood before
    (((300, ONE),), (), 0, (1.0, 0.0), 500),
    ((), (), 0, (0.0, 0.0), 1000),
])
def test_writers_turns_shares_and_gap_by_hand(writes, writers, turns, shares, gap):
    run = run_of(*writes)
    assert (run.writers, run.turns_per_s, run.gap_ms) == (writers, turns, gap)
    assert [run.shares[unit] for unit in (ONE, TWO)] == pytest.approx(shares, rel=1e-12)


@pytest.mark.parametrize(("run", "words"), [
    (run_of((0, ONE), (500, ONE)), "KF1 alone writes; longest gap between writes 500 ms"),
    (run_of((0, ONE), (500, TWO), leaders=(ONE, TWO)),
     "both lead by lamp, and KF2 alone writes; longest gap between writes 500 ms"),
    (run_of((500, ONE), (600, TWO)), "both write by turns: the rack changes its writer 5 times a second"),
    (run_of((0, ONE), end="fail state"), "nobody writes: the outputs are in their fail state"),
])
def test_a_run_comes_to_this(run, words):
    assert run.verdict == words and writers_text(run).endswith(f"In short: {words}.")


def test_a_run_in_words():
    settings = PairSettings(ask_racks=False, third_vote=True)
    run = replace(run_of((0, ONE), (500, TWO), (600, ONE), leaders=(TWO,)), settings=settings,
                  situation="sync cable cut")
    assert writers_text(run).splitlines()[:-1] == [
        "Sync cable cut; the racks are not asked, a third voter must agree.",
        "KF1: standby before.", "KF2: standby before, active from 250 ms.",
        "Rack KF20 at the end: KF1 for 75 % of the time and KF2 for 25 % of the time.",
        "Outlet after 120 s: KF1 writes 50.0 %, KF2 writes 25.0 %; level 1.234 m."]
    nobody = writers_text(run_of((0, ONE), opening={ONE: (0.6, 0.6, None), TWO: (None, None, None)})).splitlines()
    assert nobody[0] == "No fault; the racks are asked, no third voter."
    assert nobody[3:5] == ["Rack KF20 at the end: in its fail state, written by nobody.",
                           "Outlet after 120 s: nobody writes it; level 1.234 m."]


@pytest.mark.parametrize(("opening", "apart"), [
    ({ONE: (0.6, 0.9, 0.5), TWO: (0.6, None, 0.25)}, 0.25), ({ONE: (0.6, 0.9, 0.5), TWO: (0.6, 0.1, None)}, 0.0),
    ({ONE: (0.6, 0.9, None), TWO: (0.6, 0.1, None)}, 0.0)])
def test_loops_that_still_write_lie_apart(opening, apart):
    assert run_of(opening=opening).course.apart == apart


def every_40_ms(rest):
    return SimpleNamespace(writes=lambda after_ms, until_ms: [
        ms for ms in range(after_ms + 1, until_ms + 1) if ms % 40 == rest])


def test_writes_of_a_history_by_hand():
    """KF1 writes at whole multiples of 40 ms, KF2 20 ms later; the fault comes at 5000 ms."""
    history = [
        (0, Outputs.WRITTEN, ONE), (4800, Outputs.WRITTEN, TWO), (5001, Outputs.HELD, TWO),
        (5500, Outputs.FAIL_STATE, None), (5675, Outputs.HELD, ONE), (5720, Outputs.WRITTEN, ONE),
        (5780, Outputs.WRITTEN, None), (5801, Outputs.HELD, None)]
    pair = SimpleNamespace(output_history=lambda rack: history,
                           clocks={ONE: every_40_ms(0), TWO: every_40_ms(20)})
    outputs, writes = _rack(pair)
    assert outputs == ((-200, "written"), (1, "held"), (500, "fail state"), (675, "held"), (720, "written"))
    # a new writer writes before its outputs have passed the filter; the last moment counts, for both
    assert writes == (*((ms, TWO) for ms in (-180, -140, -100, -60, -20)),
                      *((ms, ONE) for ms in (680, 720, 760)), (780, TWO), (800, ONE))
    history[1:] = []
    assert [ms for ms, _ in _rack(pair)[1]] == [*range(-200, 801, 40)]


def test_roles_and_answer_are_those_of_the_moments_after_the_fault():
    run = writers_run("KF1 without power")
    assert run.roles == {ONE: ((-200, "active"), (0, "off")), TWO: ((-200, "standby"), (229, "active"))}
    assert (run.answer, writers_run("sync cable cut").answer, LONE.answer) == (
        "mark ageing", "mark fresh", "")
    assert {unit: [each is None for each in course[:3]] for unit, course in run.course.opening.items()} == {
        ONE: [False, True, True], TWO: [True, False, False]}
    # the last write of KF1 came 33 ms before, as the hold time of lesson 04 tells
    assert max(ms for ms, unit in run.writes if unit == ONE) == -33


def test_what_is_not_given():
    run, other = writers_run("sync cable cut", ask_racks=False), writers_run("no fault", seed=2)
    assert run.settings == PairSettings(ask_racks=False) and LONE.settings == PairSettings()
    assert run.course.level_m[-1] - 1.2 == pytest.approx(0.005, rel=0.1)  # on its way to half of 10 mm
    assert writers_run("no fault", seed=1).writes == LONE.writes != other.writes


@pytest.mark.parametrize("reads_mm", [1000, -1000])
def test_readings_may_be_a_metre_apart_and_no_more(reads_mm):
    assert writers_run("no fault", kf2_reads_mm=reads_mm).leaders == (ONE,)
    with pytest.raises(ValueError, match=f"kf2_reads_mm must be -1000 to 1000, got {reads_mm * 1.001!r}"):
        writers_run("no fault", kf2_reads_mm=reads_mm * 1.001)


def test_unknown_situations_are_refused():
    for call in (lambda: writers_run("sync"), lambda: writers_panel(situation="sync")):
        with pytest.raises(ValueError, match="situation must be one of no fault, sync cable cut"):
            call()


def test_panel_at_all_corners(caplog):
    panel = writers_panel(task="Look.")
    for situation, ask, vote in itertools.product(SITUATIONS, (True, False), (True, False)):
        panel.situation.value, panel.ask.value, panel.vote.value = situation, ask, vote
        assert panel.problem is None
        run = writers_run(situation, ask_racks=ask, third_vote=vote)
        assert panel.picture.value == writers_svg(run)
        assert panel.text() == f"Task: Look.\n{writers_text(run)}"
    panel.phase.value = CLOCKS
    assert panel.run.settings == run.settings and panel.problem is None
    assert not [each for each in caplog.records if each.levelno >= logging.ERROR]


def test_output_of_the_cell_carries_picture_and_text():
    data, _ = writers_panel(ask_racks=False)._repr_mimebundle_()
    assert "50 times a second" in data["text/plain"]
    assert "<img alt=" in data["text/html"]
