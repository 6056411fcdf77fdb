"""Measure the models against what one would take instead: `python -m tests.benchmarks.models`.

One run, one table. The two sides of a row are timed in turn, round by round, and the ratio is the
median of the ratios of the rounds, so that a machine that is slow for a while is slow for both.
Digits are those of the worst of all probabilities, against mpmath with 60 digits.

    --quick    fewer rounds and smaller cases, to see that it runs
"""

import argparse
import math
import os
import random
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass

# two BLAS libraries with threads of their own get into each other's way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import mpmath
import numpy as np
import scipy.linalg
import simpy

from labkit.availability.parts import Part, at_least, parallel, series
from labkit.markov.chain import MarkovModel
from labkit.markov.pair import redundant_pair
from labkit.simulation.runs import simulate_block, simulate_chain
from tests.test_diagram import plant_of_1000

DIGITS = 60


@dataclass(frozen=True)
class Row:
    """One line of the table; `met` is None where there is no target."""

    what: str
    ours: str
    other: str
    ratio: str
    target: str = ""
    met: bool | None = None


def in_turn(rounds, *calls):
    """Give for each call the seconds of each round, the calls in turn."""
    seconds = [[] for _ in calls]
    for _ in range(rounds):
        for call, spent in zip(calls, seconds):
            begun = time.perf_counter()
            call()
            spent.append(time.perf_counter() - begun)
    return seconds


def ratios(one, two):
    return [a / b for a, b in zip(one, two, strict=True)]


def spread(numbers):
    """Write the median and the range."""
    low, middle, high = min(numbers), statistics.median(numbers), max(numbers)
    return f"{middle:.3g} ({low:.3g} to {high:.3g})"


def milliseconds(seconds):
    return f"{1e3 * statistics.median(seconds):.3g} ms"


# -- chains -------------------------------------------------------------------------------------


def stiff_rates(states, seed):
    """Make a chain with rates across twelve decades, each state with a few goals."""
    rng = np.random.default_rng(seed)
    rates = {}
    for i in range(states):
        goals = {(i + 1) % states, (i - 1) % states, *rng.integers(0, states, 2).tolist()}
        for j in sorted(goals - {i}):
            rates[i, j] = float(10 ** rng.uniform(-7, 4.9))
    return rates


def exact_long_run(rates, states):
    with mpmath.workdps(DIGITS):
        matrix = mpmath.zeros(states)
        for (i, j), rate in rates.items():
            matrix[j, i] += rate
            matrix[i, i] -= rate
        right = mpmath.zeros(states, 1)
        for j in range(states):
            matrix[states - 1, j] = 1
        right[states - 1] = 1
        return list(mpmath.lu_solve(matrix, right))


def exact_in_time(rates, states, t_h):
    """Scaling and squaring of a Taylor series, with digits to spare for what it loses."""
    with mpmath.workdps(DIGITS + 60):
        matrix = mpmath.zeros(states)
        for (i, j), rate in rates.items():
            matrix[i, j] += rate
            matrix[i, i] -= rate
        halvings = max(0, int(mpmath.log(mpmath.mnorm(matrix, 1) * t_h, 2)) + 8)
        matrix *= mpmath.mpf(t_h) / 2**halvings
        total = term = mpmath.eye(states)
        for k in range(1, 45):
            term = term * matrix / k
            total = total + term
        for _ in range(halvings):
            total = total * total
        return [total[0, j] for j in range(states)]


def right_digits(found, exact):
    """Give the digits that are right in the worst entry; none where a sign is wrong."""
    with mpmath.workdps(DIGITS):
        worst = max(abs(mpmath.mpf(float(a)) / b - 1) for a, b in zip(found, exact, strict=True))
    return max(0.0, -math.log10(max(float(worst), 1e-17)))


def solve_long_run(generator):
    """What one would write: replace a balance equation by the sum, and solve."""
    matrix = generator.T.copy()
    matrix[-1] = 1
    right = np.zeros(len(matrix))
    right[-1] = 1
    return scipy.linalg.solve(matrix, right)


def numbered(rates):
    """Make the chain with its states in the order of their numbers, as the matrices have them."""
    states = 1 + max(i for i, _ in rates)
    order = {(k, (k + 1) % states): rates[k, (k + 1) % states] for k in range(states)}
    return MarkovModel(order | rates, up=[0])


def digits_row(what, other_name, rounds, exact, our_call, other_call):
    """Compare time and right digits; `our_call` begins with a fresh model."""
    digits = right_digits(our_call(), exact), right_digits(other_call(), exact)
    ours, other = in_turn(rounds, our_call, other_call)
    return Row(
        f"{what}: digits right; time",
        f"{digits[0]:.1f}; {milliseconds(ours)}",
        f"scipy {other_name} {digits[1]:.1f}; {milliseconds(other)}",
        spread(ratios(ours, other)),
        ">= 12 digits",
        digits[0] >= 12,
    )


def time_row(what, other_name, rounds, limit_s, our_call, other_call):
    ours, other = in_turn(rounds, our_call, other_call)
    return Row(
        f"{what}: time",
        milliseconds(ours),
        f"scipy {other_name} {milliseconds(other)}",
        spread(ratios(ours, other)),
        f"<= {1000 * limit_s:.0f} ms",
        statistics.median(ours) <= limit_s,
    )


def long_run_row(states, rounds):
    rates = stiff_rates(states, seed=states)
    generator = numbered(rates).generator
    return digits_row(
        f"long run, {states} states",
        "solve",
        rounds,
        exact_long_run(rates, states),
        lambda: numbered(rates).steady_state(),
        lambda: solve_long_run(generator),
    )


def in_time_row(states, rounds):
    rates, t_h = stiff_rates(states, seed=states), 10.0
    generator = numbered(rates).generator
    return digits_row(
        f"at {t_h:.0f} h, {states} states",
        "expm",
        rounds,
        exact_in_time(rates, states, t_h),
        lambda: numbered(rates).probabilities(t_h),
        lambda: scipy.linalg.expm(generator * t_h)[0],
    )


def chain_rows(rounds, quick):
    rates = stiff_rates(500, seed=500)
    generator = numbered(rates).generator
    return [
        *(long_run_row(states, rounds) for states in (10, 50)),
        *(in_time_row(states, rounds) for states in ((10,) if quick else (10, 20))),
        time_row(
            "long run, 500 states",
            "solve",
            rounds,
            0.1,
            lambda: numbered(rates).steady_state(),
            lambda: solve_long_run(generator),
        ),
        time_row(
            "at 10 h, 500 states",
            "expm",
            rounds,
            0.5,
            lambda: numbered(rates).probabilities(10.0),
            lambda: scipy.linalg.expm(generator * 10.0),
        ),
    ]


# -- Monte Carlo --------------------------------------------------------------------------------

FAILURES, REPAIRS = 1e-3, 0.1


def pair():
    """Two like units, each with its own crew."""
    rates = {(2, 1): 2 * FAILURES, (1, 2): REPAIRS, (1, 0): FAILURES, (0, 1): 2 * REPAIRS}
    return MarkovModel(rates, up=[2, 1])


def simpy_pair(horizon_h, seed):
    """Give the events and the hours down of the same pair: one process for each unit."""
    rng, environment = random.Random(seed), simpy.Environment()
    good, since, down_h, events = 2, 0.0, 0.0, 0

    def unit():
        nonlocal good, since, down_h, events
        while True:
            yield environment.timeout(rng.expovariate(FAILURES))
            events += 1
            good -= 1
            if good == 0:
                since = environment.now
            yield environment.timeout(rng.expovariate(REPAIRS))
            events += 1
            if good == 0:
                down_h += environment.now - since
            good += 1

    environment.process(unit())
    environment.process(unit())
    environment.run(until=horizon_h)
    return events, down_h


def ring(states=6):
    """Make a chain that only goes round: its plain cycle has all six states."""
    return MarkovModel({(k, (k + 1) % states): 1.0 + k for k in range(states)}, up=range(4))


def flawed_pair():
    """Make the pair of the lessons, with every flaw that it has."""
    return redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9)


def monte_carlo_rows(rounds, quick):
    model, horizon_h = pair(), 87_600.0
    lives = 40_000 if quick else 200_000
    simpy_h = 5e6 if quick else 5e7
    draws = 1_000_000
    cores = os.cpu_count() or 1
    buffer = np.empty(32_768)
    cases = {
        "ours": (model, horizon_h, lives, None),
        "flawed": (flawed_pair(), 60 * horizon_h, lives, None),
        "ring": (ring(), 200.0, lives // 10, None),
        "one thread": (model, horizon_h, lives, 1),
    }
    rates = {name: [] for name in (*cases, "simpy", "draws")}
    for turn in range(rounds):
        rng = np.random.default_rng(turn)
        for name, (chain, length_h, number, workers) in cases.items():
            begun = time.perf_counter()
            run = simulate_chain(
                chain, length_h, number, rng, progress=None, workers=workers
            )
            rates[name].append(run.events / (time.perf_counter() - begun))
        begun = time.perf_counter()
        events, _ = simpy_pair(simpy_h, turn)
        rates["simpy"].append(events / (time.perf_counter() - begun))
        begun = time.perf_counter()
        for _ in range(draws // buffer.size):
            rng.standard_exponential(out=buffer)
        rates["draws"].append(draws // buffer.size * buffer.size / (time.perf_counter() - begun))
    error = run.unavailability
    exact = model.interval_unavailability(horizon_h)
    off = abs(error.errors_off(exact))

    def per_s(name):
        return f"{statistics.median(rates[name]):.3g}/s"

    return [
        *(
            Row(
                f"{what} against plain SimPy",
                per_s(name),
                per_s("simpy"),
                spread(ratios(rates[name], rates["simpy"])),
                f">= {least}" if least else "",
                statistics.median(ratios(rates[name], rates["simpy"])) >= least if least else None,
            )
            for what, name, least in (
                (f"pair, events: {cores} threads", "ours", 300),
                ("pair, events: one thread", "one thread", None),
                (f"pair with all flaws, events: {cores} threads", "flawed", 200),
                (f"ring, events: {cores} threads", "ring", 100),
            )
        ),
        Row(
            "pair, events: one thread against bare exponential draws",
            per_s("one thread"),
            per_s("draws"),
            spread(ratios(rates["one thread"], rates["draws"])),
        ),
        Row(
            "pair, unavailability against exact, standard errors off",
            f"{error.point:.4g}",
            f"{exact:.4g}",
            f"{off:.2g}",
            "<= 4",
            off <= 4,
        ),
    ]


# -- plant --------------------------------------------------------------------------------------


def large_plant():
    """Make 120 parts: lines in parallel, 2-out-of-3 groups, supplies in several places."""
    rng = np.random.default_rng(120)

    def part(name):
        return Part(
            name,
            mtbf_h=float(rng.uniform(20_000, 300_000)),
            mttr_h=float(rng.uniform(1, 24)),
        )

    supplies = [part(f"supply {k}") for k in range(6)]
    groups = []
    for k in range(12):
        near, far = supplies[k % 6], supplies[(k + 1) % 6]
        sensors = [part(f"group {k} sensor {n}") for n in range(3)]
        lines = [part(f"group {k} line {n}") for n in range(4)]
        ends = [part(f"group {k} end {n}") for n in range(2)]
        one = series(near, lines[0], lines[1], ends[0])
        two = series(far, lines[2], lines[3], ends[1])
        supplied = (series(sensor, parallel(near, far)) for sensor in sensors)
        groups.append(series(parallel(one, two), at_least(2, *supplied)))
    tail = [part(f"bus {k}") for k in range(6)]
    return series(*groups, parallel(series(*tail[:3]), series(*tail[3:])))


def plant_rows(rounds, quick):
    def exact():
        block = large_plant()
        return block.unavailability, block.failures_per_h, block.importance()

    def figures(block):
        return block.unavailability, block.failures_per_h, block.importance()

    (ours,) = in_turn(rounds, exact)
    (thousand,) = in_turn(rounds, lambda: figures(plant_of_1000()[0]))
    (line,) = in_turn(rounds, lambda: figures(
        series(*(Part(f"p{number}", mtbf_h=1e6, mttr_h=8) for number in range(5000)))))
    block = large_plant()
    lives = 2000 if quick else 20_000
    begun = time.perf_counter()
    run = simulate_block(block, 87_600, lives, np.random.default_rng(3), progress=None)
    spent_s = time.perf_counter() - begun
    found = run.unavailability
    relative = found.standard_error / found.point
    needed_s = spent_s * (relative / 0.01) ** 2
    seconds = statistics.median(ours)
    return [
        Row(
            f"plant of {len(block.parts)} parts, U, frequency and importances: time",
            milliseconds(ours),
            f"Monte Carlo of 1 % error {needed_s:.3g} s",
            f"{seconds / needed_s:.3g}",
            "<= 1 s",
            seconds <= 1,
        ),
        Row(
            "the same at an error of 1e-6 (Monte Carlo: time goes with 1/error^2)",
            milliseconds(ours),
            f"Monte Carlo {needed_s * 1e8 / 3600:.3g} h",
            f"{seconds / needed_s / 1e8:.3g}",
        ),
        *(
            Row(
                f"{what}, U, frequency and importances: time",
                milliseconds(spent), "", "", f"<= {limit_s} s", statistics.median(spent) <= limit_s,
            )
            for what, spent, limit_s in (
                ("1000 parts on 30 pairs of feeds", thousand, 1),
                ("5000 parts in series", line, 5),
            )
        ),
        Row(
            "plant, Monte Carlo against exact, standard errors off",
            f"{block.unavailability:.5g}",
            f"{found.point:.4g} +- {found.standard_error:.2g}",
            f"{abs(found.errors_off(block.unavailability)):.2g}",
            "<= 4",
            abs(found.errors_off(block.unavailability)) <= 4,
        ),
    ]


# -- import -------------------------------------------------------------------------------------


def import_rows(rounds):
    def importing(name):
        return lambda: subprocess.run([sys.executable, "-c", f"import {name}"], check=True)

    in_turn(1, importing("numpy"), importing("labkit"))
    ours, other = in_turn(2 * rounds, importing("labkit"), importing("numpy"))
    ratio = ratios(ours, other)
    return [
        Row(
            "import in a fresh process: labkit against numpy",
            milliseconds(ours),
            milliseconds(other),
            spread(ratio),
            "<= 0.3",
            statistics.median(ratio) <= 0.3,
        )
    ]


def table(rows):
    """Write the rows as a Markdown table."""
    heads = ("what", "labkit", "instead", "ratio", "target", "met")
    cells = [heads] + [
        (
            row.what,
            row.ours,
            row.other,
            row.ratio,
            row.target,
            {True: "yes", False: "NO", None: ""}[row.met],
        )
        for row in rows
    ]
    widths = [max(len(line[k]) for line in cells) for k in range(len(heads))]
    lines = [
        "| " + " | ".join(text.ljust(width) for text, width in zip(line, widths)) + " |"
        for line in cells
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines)


def main(arguments=None):
    """Measure, print the table, and give 1 if a target is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer rounds, smaller cases")
    quick = parser.parse_args(arguments).quick
    rounds = 3 if quick else 7
    rows = [
        *chain_rows(rounds, quick),
        *monte_carlo_rows(rounds, quick),
        *plant_rows(rounds, quick),
        *import_rows(rounds),
    ]
    print(table(rows))
    return int(any(row.met is False for row in rows))


if __name__ == "__main__":
    sys.exit(main())
