"""Live through a Markov chain many times at once: the engine behind `simulate_chain`.

Each life is drawn jump by jump, and each jump has its own exponential time; many lives take their
next jump together. Nothing is approximated: the last stay of a life is cut off at the horizon.
"""

from dataclasses import dataclass

import numpy as np

from labkit.simulation.chain_tables import ChainTables

# Lives that are followed at the same time.
_LANES = 8192


@dataclass(frozen=True)
class ChainLives:
    """Hold what a number of lives came to; row k of each array is life k.

    Attributes
    ----------
    hours : (lives, states) array of float
        Time in each state.
    outages : (lives,) array of int
        Steps from an up state to a down state.
    first_outage_h : (lives,) array of float
        When the life was first down; infinite if never.
    events : int
        Jumps of all lives together.
    """

    hours: np.ndarray
    outages: np.ndarray
    first_outage_h: np.ndarray
    events: int


def live(tables: ChainTables, horizon_h: float, lives: int, rng) -> ChainLives:
    """Live through a chain `lives` times, each from 0 to the horizon."""
    up, states = tables.is_up, tables.states
    hours = np.zeros(lives * states)
    outages, first_outage_h, events = np.zeros(lives, np.int64), np.full(lives, np.inf), 0
    begun = min(_LANES, lives)
    life = np.arange(begun)
    state = tables.draw_start(begun, rng)
    now_h = np.zeros(begun)
    first_outage_h[life[~up[state]]] = 0.0
    while life.size:
        stay_h = rng.standard_exponential(life.size)
        stay_h *= tables.mean_h.take(state)
        end_h = now_h + stay_h
        np.add.at(hours, life * states + state, np.minimum(stay_h, horizon_h - now_h))
        goal = tables.draw_next(state, rng)
        over = end_h > horizon_h
        fails = np.flatnonzero((up.take(state) > up.take(goal)) & ~over)
        outages[life[fails]] += 1
        first_outage_h[life[fails]] = np.minimum(first_outage_h[life[fails]], end_h[fails])
        now_h, state = end_h, goal
        ended = np.flatnonzero(over)
        events += life.size - ended.size
        if ended.size:
            fresh = ended[: lives - begun]
            life[fresh] = np.arange(begun, begun + fresh.size)
            begun += fresh.size
            now_h[fresh] = 0.0
            state[fresh] = tables.draw_start(fresh.size, rng)
            first_outage_h[life[fresh][~up[state[fresh]]]] = 0.0
            if fresh.size < ended.size:
                on = now_h <= horizon_h
                life, state, now_h = life[on], state[on], now_h[on]
    return ChainLives(hours.reshape(lives, states), outages, first_outage_h, events)
