"""Parts that age: against closed forms, SciPy's integrals and minimum, and drawn lives."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from labkit.availability.ageing import Ageing

BATTERY = Ageing(scale_h=70_080, shape=4)


def test_square_law_by_its_error_function():
    """Shape 2: the integral of exp(-(t/s)^2) is s sqrt(pi)/2 erf(T/s), by hand."""
    part = Ageing(scale_h=1000, shape=2)
    for age_h in (10.0, 700.0, 2500.0):
        use_h = 1000 * math.sqrt(math.pi) / 2 * math.erf(age_h / 1000)
        assert part.mean_use_h(age_h) == pytest.approx(use_h, rel=1e-13)
        rate = -math.expm1(-((age_h / 1000) ** 2)) / use_h
        assert part.failures_per_h(age_h) == pytest.approx(rate, rel=1e-13)
    assert part.mean_use_h() == pytest.approx(1000 * math.sqrt(math.pi) / 2, rel=1e-14)
    assert part.hazard_per_h(500) == pytest.approx(2 * 500 / 1000**2, rel=1e-14)


def test_against_the_law_of_scipy():
    law = stats.weibull_min(4, scale=70_080)
    assert BATTERY.mean_use_h() == pytest.approx(law.mean(), rel=1e-13)
    assert BATTERY.failure_chance(30_000) == pytest.approx(law.cdf(30_000), rel=1e-13)
    use_h, _ = integrate.quad(law.sf, 0, 43_800, epsabs=0, epsrel=1e-12)
    assert BATTERY.mean_use_h(43_800) == pytest.approx(use_h, rel=1e-12)


def test_a_part_that_does_not_age_is_a_part_of_constant_rate():
    part = Ageing(scale_h=1000, shape=1)
    for replace_h in (1e-3, 100.0, 1e5, math.inf):
        assert part.failures_per_h(replace_h) == pytest.approx(1e-3, rel=1e-12)
    assert part.part("GB1", mttr_h=5).mtbf_h == pytest.approx(1000, rel=1e-14)
    assert part.best_replacement_h(failure_cost=50, planned_cost=1) == math.inf
    # what is next to nothing beside a failure is still no reason, and no rounding makes it one
    assert all(Ageing(1000 * scale, shape=1).best_replacement_h(failure_cost=1e18, planned_cost=1)
               == math.inf for scale in range(1, 60))


@pytest.mark.parametrize("shape", [1.3, 2.0, 4.0, 12.0])
@pytest.mark.parametrize("ratio", [1.5, 12.5, 1000.0])
def test_best_age_against_the_minimum_of_scipy(shape, ratio):
    part = Ageing(scale_h=1.0, shape=shape)

    def cost(log_age):
        law, age = stats.weibull_min(shape), math.exp(log_age)
        use, _ = integrate.quad(law.sf, 0, age, epsabs=0, epsrel=1e-11, limit=200)
        return math.log((ratio * law.cdf(age) + law.sf(age)) / use)

    best = part.best_replacement_h(failure_cost=ratio, planned_cost=1.0)
    if part.failure_chance(best) > 1 - 1e-9:
        # an age that no part reaches: later is never dearer
        assert cost(1.5) <= cost(1.0) <= cost(0.5)
        return
    # the steeper the law, the nearer is the age from which on the cost stands still
    width = min(2.0, 3 / shape)
    around = (math.log(best) - width, min(math.log(best) + width, 3.0))
    found = optimize.minimize_scalar(cost, bounds=around, method="bounded", options={"xatol": 1e-9})
    # the minimum is flat: its place is known to about the root of the error of the cost
    assert cost(math.log(best)) <= found.fun + 1e-10
    assert math.log(best) == pytest.approx(found.x, abs=2e-3)


def test_best_age_is_where_the_handbook_condition_holds():
    """Barlow and Proschan 1965, chapter 4 (memory): h(T) M(T) - F(T) = planned / (fails - planned)."""
    age_h = BATTERY.best_replacement_h(failure_cost=5000, planned_cost=400)
    gain = BATTERY.hazard_per_h(age_h) * BATTERY.mean_use_h(age_h) - BATTERY.failure_chance(age_h)
    assert gain == pytest.approx(400 / 4600, rel=1e-10)
    sooner, later = (
        BATTERY.best_replacement_h(failure_cost=cost, planned_cost=400) for cost in (9000, 2000)
    )
    assert sooner < age_h < later
    # After all have failed, h(T) M = planned / (fails - planned) + 1: for a shape of 2 that is
    # 2 T Gamma(1.5). T^2 = e^6.99 is an age that e^-e^6.99 of them reach, e^7.01 one that none does.
    for power, found in ((6.99, math.exp(6.99 / 2)), (7.01, math.inf)):
        goal = 2 * math.exp(power / 2) * math.gamma(1.5) - 1
        best = Ageing(scale_h=1.0, shape=2).best_replacement_h(
            failure_cost=1 + 1 / goal, planned_cost=1)
        assert best == pytest.approx(found, rel=1e-10)
    assert BATTERY.best_replacement_h(failure_cost=400, planned_cost=400) == math.inf
    # T^50 at 10^7 scales is more than a float holds: e^(50 x 16.1)
    assert Ageing(scale_h=1.0, shape=50).hazard_per_h(1e7) == math.inf
    # e^709 is not: with t = e^7.09, 100 / t e^709
    assert Ageing(scale_h=1.0, shape=100).hazard_per_h(math.exp(7.09)) == pytest.approx(
        100 * math.exp(709 - 7.09), rel=1e-11)
    # replaced for next to nothing: T^2 = 1e-12 / 1.000 000, as (2 - 1) T^2 = goal near 0
    soon = Ageing(scale_h=1.0, shape=2).best_replacement_h(failure_cost=1e12, planned_cost=1)
    assert soon == pytest.approx(1e-6, rel=1e-9)


def test_unavailability_against_drawn_lives():
    rng = np.random.default_rng(7)
    lives = 70_080 * rng.weibull(4, 200_000)
    use_h = np.minimum(lives, 43_800)
    down_h = np.where(lives < 43_800, 12.0, 2.0)
    found = down_h.sum() / (use_h.sum() + down_h.sum())
    exact = BATTERY.unavailability(mttr_h=12, replace_h=43_800, planned_h=2)
    error = np.std(down_h) / np.mean(use_h) / math.sqrt(len(lives))
    assert abs(found - exact) < 4 * error
    part = BATTERY.part("GB1", mttr_h=12, replace_h=43_800)
    alone = BATTERY.unavailability(mttr_h=12, replace_h=43_800)
    assert part.unavailability == pytest.approx(alone, rel=1e-13)


def test_shapes_reach_from_a_tenth_to_a_hundred():
    assert (Ageing(10, 0.1).shape, Ageing(10, 100).shape) == (0.1, 100)
    for shape in (0.0999, 100.1):
        with pytest.raises(ValueError, match="shape must be 0.1 to 100"):
            Ageing(10, shape)


@pytest.mark.parametrize(("call", "error", "message"), [
    (lambda: Ageing(0, 2), ValueError, "scale_h must be > 0 and finite, got 0"),
    (lambda: Ageing(10, True), TypeError, "shape must be a number, got True"),
    (lambda: Ageing(10, 300), ValueError, "shape must be 0.1 to 100, got 300"),
    (lambda: BATTERY.mean_use_h(0), ValueError, "replace_h must be > 0 and finite, got 0"),
    (lambda: BATTERY.hazard_per_h(math.inf), ValueError, "age_h must be > 0 and finite"),
    (lambda: BATTERY.unavailability(mttr_h=0), ValueError, "mttr_h must be > 0"),
    (lambda: BATTERY.best_replacement_h(failure_cost=0, planned_cost=1), ValueError,
     "failure_cost must be > 0"),
])
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
