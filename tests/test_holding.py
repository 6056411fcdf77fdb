"""Hold time and tank: what racks and tank do in a takeover, and the panel that shows it."""

import dataclasses
import itertools
import math
import re
from html import unescape

import pytest

from labkit.rig.holding import CAUSES, EXTRAS, hold_run, hold_text, share_dropped
from labkit.switchover.settings import PairSettings, switchover_budget
from lessons.panels import hold_panel as panels
from lessons.pictures import output_bars
from lessons.pictures.svg import text_width


def test_a_long_hold_time_and_the_tank_notices_nothing():
    run = hold_run(500)
    budget = switchover_budget()
    assert budget.least_ms <= run.gap_ms <= budget.most_ms
    assert run.dropped_ms is None and run.event_cost == 0 and run.happenings == ()
    # Balanced flows stand still: rounding of sums of steps, against millimetres that would count.
    assert run.moved_mm < 1e-6


def test_a_short_hold_time_costs_a_whole_restart():
    run = hold_run(200)
    assert [each.name for each in run.happenings] == [
        "pumps off", "light off", "pump restart", "light warms up", "batches held", "low trip",
    ]
    fallen = run.happenings[-1].time_s - run.happenings[0].time_s
    # 0.60 m of 1.50 m2 at 30 L/s: 30 s, by hand.
    assert math.isclose(fallen, 30.0, rel_tol=1e-9)
    assert run.event_cost == 11_000
    # The hold time runs from the last write, and not from the fault.
    assert -PairSettings().longest_write_gap_ms <= run.last_write_ms <= 0
    assert run.dropped_ms == run.last_write_ms + run.hold_ms


def test_a_bump_needs_no_gap_to_move_the_level():
    run = hold_run(500, cause="KF1: stopped", extras=("KF2: integrator not tracking",))
    assert run.dropped_ms is None and run.gap_ms <= switchover_budget(cause="stopped").most_ms
    assert 0.18 < run.highest_m - run.tank.set_point_m < 0.20


def test_held_pumps_fill_a_tank_with_a_shut_outlet():
    run = hold_run(500, extras=("QM1: shut locally",))
    (overflow,) = (each for each in run.happenings if each.name == "overflow")
    # 0.24 m of 1.50 m2 at 30 L/s: 12 s, by hand; the fault comes at 1 s.
    assert math.isclose(overflow.time_s - 1.0, 12.0, rel_tol=1e-9)


def test_a_run_in_words():
    """By hand: held 200 ms from a write 33 ms before; 0.60 m of 1.50 m2 at 30 L/s, 0.24 m of it."""
    run = hold_run(200)
    assert hold_text(run).splitlines() == [
        "Hold time 200 ms; KF1: no power.",
        f"First correct output after {run.gap_ms} ms; the outputs let go after 167 ms. "
        "The last write came 33 ms before the fault.",
        "   0.2 s  the intake pumps drop out: rack in its fail state",
        "   0.2 s  the light channels go dark: rack in its fail state",
        "   0.2 s  restart sequence of the pumps, 45 s",
        "   0.2 s  light channels warm up, 120 s",
        "  10.2 s  flow without light for more than 10 s: two batches held",
        "  30.2 s  level at the low trip: flow breaks off, re-priming",
        f"Level: lowest 0.600 m, highest {run.highest_m:.3f} m, at most 600.0 mm from the set-point.",
        "Cost of the event: EUR 11\u202f000.",
    ]
    # times count from the fault, which comes at 1 s
    late = dataclasses.replace(run.happenings[0], time_s=11.0499)
    assert "\n  10.0 s  the intake" in hold_text(dataclasses.replace(run, happenings=(late,)))
    over = hold_run(500, extras=("QM1: shut locally",))
    assert "; the outputs were held. The last write" in hold_text(over)
    assert (over.lowest_m, over.highest_m, over.moved_mm) == pytest.approx((1.2, 1.44, 240.0))
    assert run.trend.time_s[-1] == 120


def test_what_is_not_given():
    """KF1 without power at 500 ms, two minutes in all; of 40 takeovers some let go at 220 ms."""
    run = hold_run()
    assert (run.hold_ms, run.cause, run.extras, run.gap_ms) == (500, "KF1: no power", (), 234)
    assert (run.outputs, run.trend.time_s[-1]) == (((0, "written"), (0, "held"), (234, "written")), 120)
    assert (run.last_write_ms, hold_run(seed=2).last_write_ms) == (-33, -28)
    share = share_dropped(220)
    assert share == share_dropped(220, runs=40, cause="KF1: no power") == round(40 * share) / 40
    assert share != share_dropped(220, runs=41) and share != share_dropped(220, runs=80)
    assert 4 * share_dropped(220, runs=4) == sum(
        hold_run(220, seed=seed).dropped_ms is not None for seed in (1, 2, 3, 4))


def test_a_long_hold_time_lets_go_too_where_nobody_writes():
    assert share_dropped(2000, cause="TB1: off", runs=2) == 1
    run = hold_run(2000, cause="TB1: off", wait_s=3)
    assert run.dropped_ms == 2000 + run.last_write_ms


def test_an_output_of_a_loop_that_does_not_track_is_not_called_correct():
    run = hold_run(extras=("KF2: integrator not tracking",))
    assert hold_text(run).splitlines()[:2] == [
        "Hold time 500 ms; KF1: no power; KF2: integrator not tracking.",
        "First output of KF2 after 234 ms; the outputs were held. The last write came 33 ms before the fault."]


def test_without_both_controllers_no_output_comes_back():
    run = hold_run(500, cause="TB1: off", wait_s=1)
    assert run.gap_ms is None and run.dropped_ms <= 500 and run.trend.time_s[-1] == 2
    assert "No output of KF2 came; the outputs let go after" in hold_text(run)


def test_the_share_that_lets_go_falls_with_the_hold_time():
    shares = [share_dropped(hold_ms, runs=12) for hold_ms in (120, 220, 260, 430)]
    assert shares == sorted(shares, reverse=True)
    # The shortest gap at the rack is 170 ms, and the last write was at most 60 ms before.
    assert shares[0] == 1 and shares[-1] == 0 and 0 < shares[1] < 1
    # The hold time runs from the last write, at most 60 ms before the fault.
    most = switchover_budget().most_ms + PairSettings().longest_write_gap_ms
    assert share_dropped(most, runs=12) == 0


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: hold_run(cause="KF9"), "cause must be one of"),
        (lambda: hold_run(extras=("ZZ1", "KF9")), "extras must be among .*, got 'KF9'"),
        (lambda: hold_run(wait_s=0), "wait_s must be from 1 to 31536000.0, got 0"),
        (lambda: hold_run(50), "hold_ms must be"),
        (lambda: share_dropped(500, runs=0), "runs must be 1 to 10000, got 0"),
        (lambda: share_dropped(500, cause="KF9"), "cause must be one of"),
        (lambda: panels.hold_panel(hold_ms=50), "hold_ms must be 80 to 1000, got 50"),
        (lambda: panels.hold_panel(cause="KF9"), "cause must be one of"),
        (lambda: panels.hold_panel(extra="KF9"), "extra must be one of"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ValueError, match=match):
        call()


def test_every_corner_of_the_panel_is_drawn_and_said():
    panel = panels.hold_panel(task="Look.")
    for hold_ms, cause, extra, phase in itertools.product(
        (panels.LEAST_HOLD_MS, panels.MOST_HOLD_MS), CAUSES, ("", *EXTRAS), (1, 8)
    ):
        panel.hold.value, panel.cause.value = hold_ms, cause
        panel.extra.value, panel.phase.value = extra, phase
        assert panel.problem is None
        outputs, level = panel.picture.value, panel.level.value
        label = unescape(re.search(r'aria-label="([^"]+)"', outputs).group(1))
        assert len(label.split()) <= 60 and outputs.count("<svg") == level.count("<svg") == 1
        run = panel.run
        assert (run.hold_ms, run.cause, run.extras) == (hold_ms, cause, (extra,) if extra else ())
        assert ("The racks held." in panel.said.value) is (run.dropped_ms is None)
        assert ("fail state" in outputs) is (run.dropped_ms is not None)
        assert hold_text(run) in panel.text()
    panel.close()


@pytest.mark.parametrize("hold_ms", [80, 200, 500, 800, 1000])
@pytest.mark.parametrize("cause", CAUSES)
def test_the_line_of_the_hold_time_crosses_no_word_and_its_words_stay_inside(hold_ms, cause):
    drawn = output_bars.outputs_svg(hold_run(hold_ms, cause=cause))
    limit = float(re.search(r'd="M([\d.]+),\S+ class="limit"', drawn).group(1))
    for x, words in re.findall(r'<text x="([\d.]+)" y="84"[^>]*>([^<]+)<', drawn):
        assert abs(float(x) - limit) > text_width(words, 14) / 2
    x, rest, words = re.search(r'<text x="([\d.]+)" y="40"([^>]*)>([^<]+)<', drawn).groups()
    width = text_width(words, 14, bold=True)
    left = float(x) - (width if 'anchor="end"' in rest else 0)
    assert 0 <= left and left + width <= output_bars.WIDTH


def test_slider_and_typed_entry_agree_and_the_still_picture_stands_alone():
    panel = panels.hold_panel()
    panel.typed.value = "200"
    assert panel.hold.value == 200 and panel.run.event_cost == 11_000
    svg, words = panel.still_picture()
    assert "<style>" in svg and "did not suffice" in words and "low trip" in words
    panel.close()


def test_an_error_is_shown_in_the_panel(monkeypatch):
    panel = panels.hold_panel()

    def fail(*_, **__):
        raise ValueError("no run today")

    monkeypatch.setattr(panels, "hold_run", fail)
    panel.hold.value = 300
    assert isinstance(panel.problem, ValueError)
    monkeypatch.undo()
    panel.hold.value = 310
    assert panel.problem is None
    panel.close()
