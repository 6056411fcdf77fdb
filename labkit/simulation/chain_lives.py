"""Live through a Markov chain many times at once: the engine behind `simulate_chain`.

Most jumps of a repairable system go from one state, the *hub* ("all good"), over one other ("one
failed") or a few (the phases of a repair), and back. How many such *plain* cycles come before one
that goes another way is geometric, and does not depend on the times. So they are drawn as one
block: in each state the sum of as many exponential times, which is a gamma time. The odd cycle
after a block takes one of a few paths, or strays, and then it is followed jump by jump until it
is back at the hub. A chain without a good hub is followed jump by jump altogether.

Nothing is approximated. Only in a block that crosses the horizon is each time asked for: given
their sum, exponential times are to each other as new ones are (Devroye, ch. V.2).

References
----------
L. Devroye, Non-Uniform Random Variate Generation, Springer 1986, ch. V.2 (uniform spacings), IX.3
(gamma distribution), X.2 (geometric distribution).
P. W. Glynn, D. L. Iglehart, "Simulation methods for queues: an overview", Queueing Systems 3
(1988) 221-255 (regenerative cycles).
"""

import math
from dataclasses import dataclass

import numpy as np

from labkit.simulation.chain_tables import ChainTables

# Lives that are followed at the same time, and of which all times of a block are asked for in one
# go: as many doubles as fit the second-level cache of a core.
_LANES = 16384
_ASKED = 1024
# Plain cycles in a block, at least and at most, if no odd one comes before.
_PLAIN = (4, 1024)


class ChainLives:
    """Collect what lives come to, wherever it comes from; row k of each array is life k.

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

    def __init__(self, tables, lives, horizon_h):
        self.tables, self.horizon_h = tables, horizon_h
        self.hours = np.zeros((lives, tables.states), order="F")
        self.outages = np.zeros(lives, dtype=np.int64)
        self.first_outage_h = np.full(lives, np.inf)
        self.events = 0

    def outage(self, life, at_h):
        """Note outages; a life may occur more than once."""
        inside = np.flatnonzero(at_h <= self.horizon_h)
        life, at_h = life[inside], at_h[inside]
        np.add.at(self.outages, life, 1)
        np.minimum.at(self.first_outage_h, life, at_h)

    def stay(self, life, state, at_h, stay_h):
        """Note that lives are in a state from `at_h` on, and jump; give when they do."""
        end_h = at_h + stay_h
        inside_h = np.minimum(end_h, self.horizon_h)
        inside_h -= at_h
        np.maximum(inside_h, 0.0, out=inside_h)
        np.add.at(self.hours.T.reshape(-1), life + state * len(self.hours), inside_h)
        self.events += int(np.count_nonzero(end_h <= self.horizon_h))
        return end_h


def live(tables: ChainTables, horizon_h: float, lives: int, rng) -> ChainLives:
    """Live through a chain `lives` times, each from 0 to the horizon."""
    record = ChainLives(tables, lives, horizon_h)
    if tables.has_hub:
        _live_by_cycles(tables, record, lives, rng)
    else:
        _live_by_jumps(tables, record, lives, rng)
    return record


# -- jump by jump -------------------------------------------------------------------------------


def _live_by_jumps(tables, record, lives, rng):
    horizon_h, up = record.horizon_h, tables.is_up
    hours = record.hours.T.reshape(-1)
    lanes = begun = min(_LANES, lives)
    life = np.arange(lanes)
    state = tables.draw_start(lanes, rng)
    works = up.take(state)
    now_h = np.zeros(lanes)
    record.first_outage_h[life[~works]] = 0.0
    while life.size:
        stay_h = rng.standard_exponential(life.size)
        stay_h *= tables.mean_h.take(state)
        end_h = now_h + stay_h
        np.minimum(stay_h, horizon_h - now_h, out=stay_h)
        np.add.at(hours, life + state * lives, stay_h)
        goal = tables.draw_next(state, rng)
        will_work = up.take(goal)
        fails = np.flatnonzero(works > will_work)
        if fails.size:
            record.outage(life[fails], end_h[fails])
        over = np.flatnonzero(end_h > horizon_h)
        record.events += life.size - over.size
        now_h, state, works = end_h, goal, will_work
        if over.size:
            fresh = over[: lives - begun]
            life[fresh] = np.arange(begun, begun + fresh.size)
            begun += fresh.size
            now_h[fresh] = 0.0
            state[fresh] = tables.draw_start(fresh.size, rng)
            works[fresh] = up[state[fresh]]
            record.first_outage_h[life[fresh][~works[fresh]]] = 0.0
            if fresh.size < over.size:
                on = now_h <= horizon_h
                life, state, works, now_h = (one[on] for one in (life, state, works, now_h))


@dataclass
class _Walks:
    """Hold walks from a given state until they reach the hub or outlast the horizon.

    `duration_h` has one entry per walk; the rest has one per step: which walk, in which state,
    how long after the beginning of the walk, how long, and whether the step fails the system.
    """

    duration_h: np.ndarray
    walk: np.ndarray
    state: np.ndarray
    after_h: np.ndarray
    stay_h: np.ndarray
    fails: np.ndarray


def _walks(tables, state, horizon_h, rng):
    walk = np.arange(state.size)
    after_h = np.zeros(state.size)
    duration_h = np.zeros(state.size)
    steps = []
    while walk.size:
        stay_h = rng.standard_exponential(walk.size)
        stay_h *= tables.mean_h.take(state)
        goal = tables.draw_next(state, rng)
        fails = tables.is_up.take(state) > tables.is_up.take(goal)
        steps.append((walk, state, after_h, stay_h, fails))
        after_h = after_h + stay_h
        duration_h[walk] = after_h
        on = np.flatnonzero((goal != tables.hub) & (after_h <= horizon_h))
        walk, state, after_h = walk.take(on), goal.take(on), after_h.take(on)
    columns = [np.concatenate(column) for column in zip(*steps)] or [np.empty(0, np.intp)] * 5
    return _Walks(duration_h, *columns)


def _record_walks(tables, record, walks, life, begin_h):
    """Add walks to the record; walk k belongs to life[k] and begins at begin_h[k]."""
    of = life.take(walks.walk)
    at_h = begin_h.take(walks.walk)
    at_h += walks.after_h
    end_h = record.stay(of, tables.real.take(walks.state), at_h, walks.stay_h)
    fails = np.flatnonzero(walks.fails)
    record.outage(of[fails], end_h[fails])


# -- block by block -----------------------------------------------------------------------------


def _live_by_cycles(tables, record, lives, rng):
    for begun in range(0, lives, _LANES):
        life = np.arange(begun, min(begun + _LANES, lives))
        now_h = _walk_to_hub(tables, record, life, rng)
        while (on := now_h <= record.horizon_h).any():
            life = life[on]
            now_h = _live_block(tables, record, life, now_h[on], rng)
    # every hour that was not spent elsewhere was spent in the hub
    rest_h = record.horizon_h - record.hours.sum(axis=1)
    record.hours[:, tables.hub] += np.maximum(rest_h, 0.0)


def _live_block(tables, record, life, now_h, rng):
    """Live through plain cycles from the hub on, and the odd one after them; give when that ends."""
    horizon_h, path = record.horizon_h, tables.paths[0]
    means_h = tables.mean_h[[tables.hub, *path]]
    # a block that may cross the horizon is short, since all its times are asked for then
    left = (horizon_h - now_h) / means_h.sum()
    most = np.floor(np.clip(left - 3 * np.sqrt(left), *_PLAIN))
    if _fails(tables):
        most[np.isinf(record.first_outage_h[life])] = 1
    plain = most
    if tables.odd:
        # P(plain > k) = (1 - odd)^(k + 1)
        gap = rng.standard_exponential(life.size) / -math.log1p(-tables.odd)
        plain = np.minimum(np.floor(gap), most)
    odd = plain < most
    sums_h = np.array([mean_h * rng.standard_gamma(times) for mean_h, times in zip(
        means_h, (plain + odd, *[plain] * len(path)), strict=True)])
    end_h = now_h + sums_h.sum(axis=0)
    asked = end_h > horizon_h
    if _fails(tables):
        asked |= (plain > 0) & np.isinf(record.first_outage_h[life])

    asked = np.flatnonzero(asked)
    asked = asked[np.argsort(plain[asked])]
    for lanes in (asked[begin:begin + _ASKED] for begin in range(0, asked.size, _ASKED)):
        _ask_times(tables, record, life[lanes], now_h[lanes], plain[lanes], odd[lanes],
                   sums_h[:, lanes], rng)
    record.events -= int(np.count_nonzero(odd[asked]))
    sums_h[:, asked] = plain[asked] = 0.0
    record.events += int(means_h.size * plain.sum()) + int(np.count_nonzero(odd))
    if _fails(tables):
        record.outages[life] += plain.astype(np.int64)
    for state, sum_h in zip(path, sums_h[1:], strict=True):
        record.hours[:, state][life] += sum_h

    odd = np.flatnonzero(odd & (end_h <= horizon_h))
    end_h[odd] = _live_odd(tables, record, life[odd], end_h[odd], rng)
    return end_h


def _fails(tables):
    """Give whether each plain cycle is an outage, which begins as the hub is left."""
    return bool(tables.is_up[tables.hub] > tables.is_up[tables.paths[0][0]])


def _ask_times(tables, record, life, now_h, plain, odd, sums_h, rng):
    """Record blocks time by time, up to the horizon."""
    horizon_h, path = record.horizon_h, tables.paths[0]
    row = np.arange(plain.max(initial=0) + 1)[:, None]
    stays_h = rng.standard_exponential((len(row), *sums_h.shape))
    # what does not come is a stay of 0
    stays_h[:, 0] *= row < plain + odd
    stays_h[:, 1:] *= (row < plain)[:, None]
    whole = stays_h.sum(axis=0)
    stays_h *= np.divide(sums_h, whole, out=whole, where=whole > 0)
    end_h = stays_h.reshape(-1, life.size).cumsum(axis=0).reshape(stays_h.shape) + now_h
    record.events += int(np.count_nonzero((end_h <= horizon_h) & (stays_h > 0)))
    inside_h = stays_h - np.clip(end_h - horizon_h, 0.0, stays_h)
    for state, spent_h in zip(path, inside_h.sum(axis=0)[1:], strict=True):
        record.hours[life, state] += spent_h
    if _fails(tables):
        begins = (row < plain) & (end_h[:, 0] <= horizon_h)
        record.outages[life] += begins.sum(axis=0)
        first = np.where(begins[0], end_h[0, 0], np.inf)
        record.first_outage_h[life] = np.minimum(record.first_outage_h[life], first)


def _live_odd(tables, record, life, begin_h, rng):
    """Live through cycles that are not plain, from the end of their stay in the hub on."""
    up, hub, end_h = tables.is_up, tables.hub, begin_h.copy()
    kind = np.searchsorted(tables.kinds, rng.random(life.size), side="right")
    for number, path in enumerate(tables.paths[1:]):
        which = np.flatnonzero(kind == number)
        of, at_h, before = life[which], begin_h[which], hub
        for state in (*path, hub):
            if up[before] > up[state]:
                record.outage(of, at_h)
            if state != hub:
                stay_h = tables.mean_h[state] * rng.standard_exponential(which.size)
                at_h = record.stay(of, state, at_h, stay_h)
            before = state
        end_h[which] = at_h
    stray = np.flatnonzero(kind == len(tables.kinds))
    first = tables.draw_next(np.full(stray.size, tables.leaving), rng)
    life, begin_h = life[stray], begin_h[stray]
    fails = np.flatnonzero(up[hub] > up[first])
    record.outage(life[fails], begin_h[fails])
    walks = _walks(tables, first, record.horizon_h, rng)
    _record_walks(tables, record, walks, life, begin_h)
    end_h[stray] += walks.duration_h
    return end_h


def _walk_to_hub(tables, record, life, rng):
    """Begin lives, and give when each is in the hub for the first time."""
    at_h = np.zeros(life.size)
    if tables.starts_in_hub:
        if not tables.is_up[tables.hub]:
            record.first_outage_h[life] = 0.0
        return at_h
    state = tables.draw_start(life.size, rng)
    record.first_outage_h[life[~tables.is_up[state]]] = 0.0
    away = np.flatnonzero(state != tables.hub)
    walks = _walks(tables, state[away], record.horizon_h, rng)
    _record_walks(tables, record, walks, life[away], np.zeros(away.size))
    at_h[away] = walks.duration_h
    return at_h
