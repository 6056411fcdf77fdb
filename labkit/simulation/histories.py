"""Single lives of a chain, for looking at and for plotting.

One life shows what can happen; how often it happens is a matter of many, see
`labkit.simulation.runs`.
"""

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from labkit.arguments import generator, positive
from labkit.simulation.chain_tables import MOST_KEPT, ChainTables, refuse_endless


@dataclass(frozen=True)
class Span:
    """Hold a stretch of time from `begin_h` to `end_h`, hours.

    >>> Span(3.0, 7.5).length_h
    4.5
    """

    begin_h: float
    end_h: float

    @property
    def length_h(self) -> float:
        """Length in hours."""
        return self.end_h - self.begin_h


@dataclass(frozen=True)
class ChainHistory:
    """Hold one life of a chain.

    Attributes
    ----------
    horizon_h : float
        Its length, hours.
    at_h : tuple of float
        When each state is entered, hours; the first is 0.
    states : tuple
        The states entered.
    up : tuple of bool
        Whether the system works in each of them.
    """

    horizon_h: float
    at_h: tuple[float, ...]
    states: tuple
    up: tuple[bool, ...]

    @property
    def outages(self) -> tuple[Span, ...]:
        """The stretches in which the system is down, each as one."""
        stays = zip(self.at_h, (*self.at_h[1:], self.horizon_h), self.up, strict=True)
        found = (list(stretch) for works, stretch in groupby(stays, lambda stay: stay[2])
                 if not works)
        return tuple(Span(stretch[0][0], stretch[-1][1]) for stretch in found)


def chain_history(model, horizon_h: float, rng: np.random.Generator) -> ChainHistory:
    """Draw one life of a Markov chain.

    Parameters
    ----------
    model : MarkovModel
        Begins as its `start` says.
    horizon_h : float
        Length of the life, hours, > 0; at most a million changes of state.
    rng : numpy.random.Generator
        Source of all random numbers.

    Returns
    -------
    ChainHistory

    Raises
    ------
    TypeError, ValueError
        If an argument is of the wrong type, or outside its range.

    Notes
    -----
    Jump by jump: an exponential time in the state, then the next state in proportion to the
    rates. It takes some microseconds for each jump.

    Examples
    --------
    >>> from labkit import two_state
    >>> life = chain_history(two_state(mtbf_h=100, mttr_h=10), 500, np.random.default_rng(2))
    >>> life.states[:3], life.at_h[0], len(life.at_h) == len(life.up)
    (('up', 'down', 'up'), 0.0, True)
    """
    generator(rng)
    horizon_h = positive("horizon_h", horizon_h)
    tables = ChainTables.of(model)
    refuse_endless(horizon_h, tables.changes_per_h, MOST_KEPT)
    states, at_h = [int(tables.draw_start(1, rng)[0])], [0.0]
    while (now_h := at_h[-1] + rng.standard_exponential() * tables.mean_h[states[-1]]) <= horizon_h:
        states.append(int(tables.draw_next(np.array(states[-1:]), rng)[0]))
        at_h.append(float(now_h))
    return ChainHistory(
        horizon_h,
        tuple(at_h),
        tuple(model.states[state] for state in states),
        tuple(bool(tables.is_up[state]) for state in states),
    )
