"""Who writes a rack around a fault, against the pair itself, and the panel that shows it."""

import itertools
import logging
import math
import re

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.writers import (
    AFTER_MS,
    BEFORE_MS,
    COURSE_S,
    SITUATIONS,
    writers_run,
    writers_text,
)
from labkit.switchover.engine import Switchover
from labkit.switchover.racks import writer_changes
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
