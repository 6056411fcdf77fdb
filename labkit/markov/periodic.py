"""Chains that run freely between fixed times and are moved on at them, such as by proof tests.

A fault that nobody sees waits for the next test. Tests come at fixed times, so the wait is not
memoryless, and a chain with the rate 2/T in place of the test is only an approximation. Here the
chain runs freely between tests and is moved on at each test; the long run follows from the chain of
states right after each test, which is an ordinary one.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from labkit.arguments import numbers, plain, written
from labkit.markov.chain import LongRun, MarkovModel, long_run
from labkit.markov.passage import FirstPassage
from labkit.markov.transient import evolve, transitions


@dataclass(frozen=True)
class Phase:
    """Describe one stretch of a cycle: a chain that runs for fixed hours, and what then happens.

    Parameters
    ----------
    rates : mapping of (state, state) to float
        Transition rates per hour during the phase, as for `MarkovModel`.
    hours : float
        Length of the phase, > 0 and finite.
    then : mapping, optional
        What the end of the phase does: state to state, or state to a mapping of state to
        probability. States that are not named stay.

    >>> Phase({("works", "failed"): 1e-5}, 8760, then={"failed": "works"}).hours
    8760
    """

    rates: Mapping
    hours: float
    then: Mapping | None = None


class PeriodicModel(LongRun):
    """Describe a chain whose rates follow a fixed cycle, with jumps between its phases.

    Nothing is checked here: `labkit.markov.proof_tests.pair_with_tests` has read its arguments.

    Parameters
    ----------
    phases : sequence of Phase
        One cycle, which repeats for ever. States are in the order of first appearance.
    up : iterable of states
        The states in which the system works.
    planned : iterable of states, optional
        States in which it stands still on purpose. They count as unavailable, but entering one
        is no failure.
    start : state, optional
        The state at the begin of the first cycle. Default: the state that appears first.

    Notes
    -----
    With P(k) = exp(Q(k) d(k)) for phase k and J(k) for the jump after it, the states at the begin
    of each cycle form a chain with the matrix P(1) J(1) P(2) J(2) ...; its long run, by
    elimination without subtraction, gives by the integral over each phase the mean time in each
    state. No approximation is made.

    References
    ----------
    C. G. Cassandras, S. Lafortune, Introduction to Discrete Event Systems (embedded chains);
    IEC 61508-6, Annex B (multiphase Markov models).

    A unit whose faults only a yearly test can find:

    >>> unit = PeriodicModel(
    ...     [Phase({("works", "failed"): 1e-5}, 8760, then={"failed": "works"})], up=["works"]
    ... )
    >>> print(f"{unit.unavailability:.10f}")
    0.0425485656
    """

    def __init__(
        self,
        phases: Sequence[Phase],
        up: Iterable[Hashable],
        planned: Iterable[Hashable] = (),
        start: Hashable | None = None,
    ):
        self._phases = tuple(phases)
        rates = {}
        for phase in self._phases:
            rates.update(phase.rates)
        # A plain model of all that can happen knows the states.
        whole = MarkovModel(rates, up, start)
        self._states = whole.states
        index = {state: i for i, state in enumerate(whole.states)}
        self._start = np.array([whole.start.get(state, 0.0) for state in whole.states])
        self._is_up = np.isin(np.arange(len(index)), [index[s] for s in whole.up])
        self._planned = np.isin(np.arange(len(index)), [index[state] for state in planned])
        self._failed = ~self._is_up & ~self._planned
        self._rates = []
        self._jumps = []
        for phase in self._phases:
            matrix = np.zeros((len(index), len(index)))
            for (a, b), rate in phase.rates.items():
                matrix[index[a], index[b]] = rate
            self._rates.append(matrix)
            self._jumps.append(_jump_matrix(phase.then or {}, index))

    @property
    def states(self) -> tuple:
        """Name the states, a tuple in the order of first appearance in the phases."""
        return self._states

    @property
    def cycle_h(self) -> float:
        """Give the length of one cycle in hours."""
        return float(sum(phase.hours for phase in self._phases))

    @cached_property
    def _courses(self):
        """For each phase: transition probabilities and hours spent, by first state."""
        return [
            transitions(rates, phase.hours)
            for rates, phase in zip(self._rates, self._phases)
        ]

    @cached_property
    def _after_test(self):
        cycle = np.eye(len(self._states))
        for (p, _), jump in zip(self._courses, self._jumps):
            cycle = cycle @ p @ jump
        # The chain of the states after each test; its scale of time does not matter.
        return long_run(cycle, self._start)

    def after_cycle(self) -> np.ndarray:
        """Give the long-run probabilities of the states at the begin of a cycle; (n,), sum 1."""
        return self._after_test.copy()

    @cached_property
    def _hours(self):
        """Mean hours in each state and mean failures in a cycle, in the long run."""
        p = self._after_test
        hours = np.zeros(len(p))
        failures = 0.0
        for (course, spent), jump, rates in zip(self._courses, self._jumps, self._rates):
            here = p @ spent
            hours += here
            failures += here @ np.where(self._failed, 0.0, rates[:, self._failed].sum(axis=1))
            at_end = p @ course
            failures += at_end @ np.where(self._failed, 0.0, jump[:, self._failed].sum(axis=1))
            p = at_end @ jump
        return hours, float(failures)

    def steady_state(self) -> np.ndarray:
        """Give the long-run share of time in each state; (n,) array, sum 1."""
        return self._hours[0] / self.cycle_h

    @property
    def planned_unavailability(self) -> float:
        """Give the long-run share of time in the planned states, 0 to 1."""
        return float(self.steady_state()[self._planned].sum())

    @property
    def failures_per_h(self) -> float:
        """Give the long-run number of failures per hour; planned standstill is none."""
        return self._hours[1] / self.cycle_h

    def unavailability_at(self, t_h: ArrayLike) -> float | np.ndarray:
        """Give the long-run probability of not being up at a time within the cycle.

        Parameters
        ----------
        t_h : float or sequence of float
            Hours since the begin of the cycle, 0 to `cycle_h`.

        Returns
        -------
        float, or (len(t_h),) array of float
            Probability, 0 to 1; at the end of a phase the value before its jump.

        Raises
        ------
        ValueError
            If a time is outside the cycle.

        >>> unit = PeriodicModel(
        ...     [Phase({("works", "failed"): 1e-5}, 8760, then={"failed": "works"})], up=["works"]
        ... )
        >>> print(f"{unit.unavailability_at(8760):.4f}")
        0.0839
        """
        times = numbers("t_h", t_h)
        if not np.all((times >= 0) & (times <= self.cycle_h)):
            raise ValueError(f"t_h must be between 0 and {self.cycle_h:g}, got {written(t_h)}")
        value = np.empty(times.shape)
        p, begin = self._after_test, 0.0
        for phase, rates, (course, _), jump in zip(
            self._phases, self._rates, self._courses, self._jumps
        ):
            inside = (times > begin) & (times <= begin + phase.hours)
            inside |= (times == 0) & (begin == 0)
            if inside.any():
                rows, _ = evolve(rates, p, times[inside] - begin)
                value[inside] = rows[:, ~self._is_up].sum(axis=1)
            p = p @ course @ jump
            begin += phase.hours
        return plain(value)

    def mean_time_to_first_failure_h(self) -> float:
        """Give the mean time to the first failure from the start of the model, in hours.

        Returns
        -------
        float
            Hours; 0 if the start is a failure, infinite where a failure may never come.
            Planned standstill is no failure, and its time counts.

        Notes
        -----
        The failed states are joined into one without a way out. Mean time over the cycles
        survived, by elimination without subtraction.

        >>> unit = PeriodicModel(
        ...     [Phase({("works", "failed"): 1e-5}, 8760, then={"failed": "works"})], up=["works"]
        ... )
        >>> print(f"{unit.mean_time_to_first_failure_h():.0f}")
        100000
        """
        n = len(self._states)
        cycle = np.eye(n)
        alive_h = np.zeros(n)
        keep = np.where(self._failed, 0.0, 1.0)
        for rates, phase, jump in zip(self._rates, self._phases, self._jumps):
            course, spent = transitions(rates * keep[:, None], phase.hours)
            alive_h += cycle @ (spent @ keep)
            stays = np.where(self._failed[:, None], np.eye(n), jump)
            cycle = cycle @ course @ stays
        return FirstPassage(cycle, self._failed, self._start).mean_collected(alive_h)


def _jump_matrix(then, index):
    jump = np.eye(len(index))
    for source, target in then.items():
        jump[index[source]] = 0.0
        for state, share in (target if isinstance(target, Mapping) else {target: 1.0}).items():
            jump[index[source], index[state]] = share
    return jump
