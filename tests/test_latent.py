"""A standby that fails unnoticed between two tests, and the panel that shows it."""

import itertools
import math
import re
from html import unescape

import numpy as np
import pytest

from labkit.markov.latent import latent_faults, latent_text, periodic_lives
from labkit.markov.proof_tests import pair_with_tests
from lessons.panels import proof_test_panel as panels
from lessons.pictures import sleepers as pictures
from lessons.pictures.dead_standby import HEIGHT


def test_the_mean_of_the_course_is_the_long_run_share():
    for interval_h, diagnosed in itertools.product((168.0, 4380.0, 17_520.0), (0.0, 0.9)):
        found = latent_faults(interval_h, diagnosed)
        mean = np.trapezoid(found.dead, found.time_h) / interval_h
        # Trapezoids on 40 pieces of a nearly straight line, against the integral of the chain.
        assert math.isclose(mean, found.mean_dead, rel_tol=1e-4)
        assert found.dead[0] == 0 and np.all(np.diff(found.dead) > 0)
    seen = latent_faults(4380, 1.0)
    assert seen.mean_dead == seen.first_term == 0 and seen.time_h[-1] == 4380
    assert seen.dead.tolist() == [0] * len(seen.time_h)


def test_one_unit_alone_is_the_limit_of_a_pair_that_is_never_used():
    # IEC 61508-6, Annex B: mean of an exponential law over one interval (from memory). An active
    # that never fails leaves the standby to sleep, but for the repair time after each test.
    found = latent_faults(8760, 0.0, mtbf_h=60_000, mttr_h=1e-6)
    alone = 1 + math.expm1(-8760 / 60_000) / (8760 / 60_000)
    # The pair is restored when the active fails first: the share is lower, by half of x/3 or so.
    assert 0.9 * alone < found.mean_dead < alone
    assert math.isclose(found.first_term, 8760 / 120_000, rel_tol=1e-12)


def test_exact_tests_against_the_rate():
    # Golden numbers of labkit.markov.proof_tests: 4.2 % at one year, 7.3 % at two (worked out
    # there).
    for interval_h, more in ((8760, 0.042), (17_520, 0.0732)):
        found = latent_faults(interval_h, 0.0)
        assert math.isclose(found.down_min / found.usual_min - 1, more, rel_tol=0.01)
        exact = pair_with_tests(60_000, 4, diagnosed=0.0, test_interval_h=interval_h)
        assert math.isclose(found.down_min, exact.downtime_h_per_year * 60, rel_tol=1e-12)


@pytest.mark.parametrize("interval_h", [4380, 17_520])
def test_lives_without_chain_or_matrix_agree(interval_h):
    share, error = periodic_lives(interval_h, years=60_000, rng=np.random.default_rng(7))
    assert abs(share - latent_faults(interval_h, 0.0).mean_dead) < 4 * error
    assert error < 0.02 * share


def test_nothing_sleeps_where_all_is_seen():
    found = latent_faults(4380, 1.0)
    assert found.mean_dead == 0 and not found.dead.any()
    assert "0.00 %" in latent_text(found)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: latent_faults(0), "interval_h must be > 0"),
        (lambda: latent_faults(4380, 1.2), "diagnosed must be"),
        (lambda: latent_faults(4380, test_h=-1), "test_h must be"),
        (lambda: periodic_lives(4380, years=0, rng=None), "years must be > 0"),
        (lambda: panels.proof_test_panel(weeks=0), "weeks must be 1 to 520, got 0"),
        (lambda: panels.proof_test_panel(seen="all"), "seen must be one of"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ValueError, match=match):
        call()


def test_every_corner_of_the_panel_is_drawn_and_said():
    panel = panels.proof_test_panel(task="Look.")
    for weeks, seen in itertools.product((1, 26, 520), panels.SEEN):
        panel.typed.value, panel.seen.value = str(weeks), seen
        assert panel.problem is None and panel.weeks.value == weeks
        label = unescape(re.search(r'aria-label="([^"]+)"', panel.picture.value).group(1))
        mean = float(re.search(r"the mean, ([\d.]+) %", label).group(1))
        # Two digits behind the point, and four where it is small.
        assert abs(mean - 100 * panel.found.mean_dead) <= (0.00501 if mean >= 0.01 else 0.0000501)
        assert len(label.split()) <= 60 and "1 weeks" not in label + panel.text()
        assert latent_text(panel.found) in panel.text()
        places = [float(n) for n in re.findall(r'\by="(-?[\d.]+)"', panel.picture.value)]
        assert all(0 <= y <= HEIGHT for y in places)
    svg, words = panel.still_picture()
    assert "<style>" in svg and "Saw teeth" in words
    panel.close()


def test_the_picture_shows_four_ways_and_their_differences():
    rows = pictures.sleepers((4380, 17_520), years=2_000)
    ax = pictures.plot_sleepers(rows)
    assert ax.get_ylabel() == "difference in the share of time [%]"
    by_hand = ax.lines[0].get_ydata()
    for (_, first, rate, exact, lives, error), shown in zip(rows, by_hand, strict=True):
        # The two plain ways stand on either side of the exact one.
        assert rate < exact < first and abs(lives - exact) < 4 * error
        assert math.isclose(shown, 100 * (first / exact - 1), rel_tol=1e-9)
    assert len(pictures.sleepers_words(rows).splitlines()) == 3
    with pytest.raises(ValueError, match="intervals_h must hold at least one interval"):
        pictures.sleepers(())


def test_half_a_year_by_hand():
    """Asleep at the rate 0.1 / MTBF, over when the active fails: 0.1 / 1.1 (1 - exp(-1.1 t / MTBF)).

    Right before the test x = 1.1 x 4380 / 60 000 = 0.0803: 0.0909 x 0.0772 = 0.70 %; on average
    0.0909 x (1 - 0.0772 / 0.0803) = 0.355 %.  Down: 0.00355 / 60 000 a hour, 4 h each, in 8760 h
    are 0.124 min, and 0.005 min by two failures at once.
    """
    found = latent_faults(4380)
    assert (found.interval_h, found.diagnosed) == (4380, 0.9)
    assert len(found.time_h) == len(found.dead) == 41
    assert (found.time_h[0], found.time_h[-1]) == (0, 4380)
    x = 1.1 * 4380 / 60_000
    by_hand = 0.1 / 1.1 * -np.expm1(-1.1 * found.time_h / 60_000)
    # the few hours of repairs change it by MTTR / MTBF
    assert np.allclose(found.dead, by_hand, rtol=5e-4)
    assert math.isclose(found.mean_dead, 0.1 / 1.1 * (1 + math.expm1(-x) / x), rel_tol=1e-3)
    assert math.isclose(found.first_term, 0.1 * 4380 / 120_000, rel_tol=1e-12)
    assert latent_text(found).splitlines() == [
        "Test every 26 weeks; 90 % of the standby's faults are seen at once.",
        "Dead and nobody knows: 0.36 % of the time on the average, 0.70 % right before a test.",
        "Pair: 0.129 min a year down by this and by two failures at once."]
    seen = latent_faults(4380, 1.0)
    assert len(seen.time_h) == len(seen.dead) == 41 and seen.time_h[-1] == 4380


class Scripted(np.random.Generator):
    """Hand out the same lives and repairs again and again."""

    def __init__(self):
        super().__init__(np.random.PCG64())

    def exponential(self, mean_h, size=None):
        return 10.0 if size is None else np.array([300.0, 100.0])


@pytest.mark.parametrize(("hours", "words"), [
    (168, "1 week"), (251.9, "1 week"), (252, "2 weeks"), (253, "2 weeks"), (8760, "52 weeks")])
def test_an_interval_in_weeks(hours, words):
    assert latent_faults(hours).weeks == words


@pytest.mark.parametrize(("share", "words"), [
    (0.0, "0.00 %"), (0.99e-4, "0.0099 %"), (1e-4, "0.01 %"), (1.01e-4, "0.01 %"), (0.5, "50.00 %")])
def test_a_small_share_has_two_digits_more(share, words):
    assert latent_faults(168).asleep(share) == words


def test_lives_that_would_take_too_long():
    """Twenty times a million lives of 2 / 2 + 4 h, the first failure of two and one repair."""
    class Begun(np.random.Generator):
        def exponential(self, *_):
            raise StopIteration

    def lived(hours):
        periodic_lives(1000, mtbf_h=2, mttr_h=4, years=20 * hours / 8760, rng=Begun(np.random.PCG64()))

    with pytest.raises(StopIteration):
        lived(4.99e6)
    with pytest.raises(ValueError, match="years must bring at most 20000000 failures"):
        lived(5.01e6)


def test_lives_by_hand():
    """The standby fails 100 h, the active 300 h after each start; a repair takes 10 h.

    Asleep for 200 of 320 h, nine times; in the tenth round it fails at 2980 h, the test at 3000 h
    finds it, and one repair ends at 3010 h: 1820 of 3010 h in each batch that ends before.
    """
    def lived(end_h):
        return periodic_lives(1000, mtbf_h=1, mttr_h=1, years=20 * end_h / 8760, rng=Scripted())

    assert lived(300) == (200 / 320, 0)
    assert lived(2879) == (1800 / 2880, 0)
    assert lived(3009.9) == pytest.approx((1820 / 3010, 0), abs=1e-15)
    assert lived(3010.1) == pytest.approx((2020 / 3330, 0), abs=1e-15)
    rng = np.random.default_rng
    assert periodic_lives(4380, years=50, rng=rng(1)) == periodic_lives(
        4380, mtbf_h=60_000, mttr_h=4, years=50, rng=rng(1))
