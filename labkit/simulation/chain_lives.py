"""Live through a Markov chain many times at once: the engine behind `simulate_chain`.

Most jumps of a repairable system go from one state, the *hub* ("all good"), over one other ("one
failed") or a few (the phases of a repair), and back. On a clock that runs only in the hub these
excursions begin as Poisson processes, one for each path that they may take, and all independent of
one another. So a stretch on that clock is drawn as one: for each path how often, and in each state
the sum of as many exponential times, which is a gamma time. A stretch ends at the first outage of a
life, whose time is asked for, and where an excursion *strays* from the paths: that one is followed
jump by jump until it is back at the hub. A chain without a good hub is followed so altogether.

Nothing is approximated. Only in a stretch that crosses the horizon is each time asked for: given
their number, the excursions of a Poisson process begin anywhere alike, and given their sum,
exponential times are to each other as new ones are (Devroye, ch. V.2).

References
----------
L. Devroye, Non-Uniform Random Variate Generation, Springer 1986, ch. V.2 (uniform spacings), VI.1
(Poisson process), IX.3 (gamma distribution).
P. W. Glynn, D. L. Iglehart, "Simulation methods for queues: an overview", Queueing Systems 3
(1988) 221-255 (regenerative cycles).
"""

import numpy as np

from labkit.simulation.chain_tables import ChainTables

# Lives that are followed at the same time, and excursions whose times are asked for in one go: as
# many doubles as fit the second-level cache of a core.
_LANES = 20_000
# Excursions in a stretch, about, at most; with fewer left to the horizon all are asked for.
_MOST, _FEW = 1024.0, 4.0


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


def _walk(tables, record, life, state, at_h, rng):
    """Follow lives until they reach the hub or outlast the horizon; give when."""
    end_h, place = at_h.copy(), np.arange(life.size)
    while place.size:
        stay_h = rng.standard_exponential(place.size)
        stay_h *= tables.mean_h.take(state)
        at_h = record.stay(life[place], tables.real.take(state), at_h, stay_h)
        end_h[place] = at_h
        goal = tables.draw_next(state, rng)
        fails = np.flatnonzero(tables.is_up.take(state) > tables.is_up.take(goal))
        record.outage(life[place[fails]], at_h[fails])
        on = np.flatnonzero((goal != tables.hub) & (at_h <= record.horizon_h))
        place, state, at_h = place[on], goal[on], at_h[on]
    return end_h


# -- stretch by stretch -------------------------------------------------------------------------


def _live_by_cycles(tables, record, lives, rng):
    for life in np.array_split(np.arange(lives), -(-lives // _LANES)):
        now_h = _walk_to_hub(tables, record, life, rng)
        while (on := now_h < record.horizon_h).any():
            life = life[on]
            now_h = _live_stretch(tables, record, life, now_h[on], rng)
    # every hour that was not spent elsewhere was spent in the hub
    rest_h = record.horizon_h - record.hours.sum(axis=1)
    record.hours[:, tables.hub] += np.maximum(rest_h, 0.0)


def _live_stretch(tables, record, life, now_h, rng):
    """Live through a stretch from the hub on, and what ends it; give when that is over."""
    hub_h = _plan(tables, record.horizon_h - now_h)
    # a life that has not failed yet stops at what fails, too
    fresh = np.isinf(record.first_outage_h.take(life))
    wait_h = rng.standard_exponential(life.size)
    with np.errstate(divide="ignore"):
        wait_h /= np.where(fresh, *tables.ends_per_h[[-1, 0]])
    ended = wait_h < hub_h
    np.minimum(hub_h, wait_h, out=hub_h)
    again_h = np.where(fresh, 0.0, hub_h)
    counts = np.array([rng.poisson(per_h * (again_h if outages else hub_h)) for per_h, outages
                       in zip(tables.path_per_h, tables.path_outages, strict=True)])
    sums_h = np.zeros((tables.states, life.size))
    for state in tables.away:
        sums_h[state] = rng.standard_gamma(tables.visits[:, state] @ counts)
        sums_h[state] *= tables.mean_h[state]
    end_h = now_h + hub_h + sums_h.sum(axis=0)

    asked = np.flatnonzero(end_h > record.horizon_h)
    for lanes in np.array_split(asked, 1 + int(counts[:, asked].sum()) // _LANES):
        _ask_times(tables, record, life[lanes], now_h[lanes], hub_h[lanes], counts[:, lanes],
                   sums_h[:, lanes], rng)
    counts[:, asked] = sums_h[:, asked] = 0
    record.events += int(tables.path_jumps @ counts.sum(axis=1))
    record.outages[life] += tables.path_outages @ counts
    for state in tables.away:
        record.hours[:, state][life] += sums_h[state]

    ended = np.flatnonzero(ended & (end_h <= record.horizon_h))
    end_h[ended] = _live_end(tables, record, life[ended], end_h[ended], fresh[ended], rng)
    return end_h


@np.errstate(over="ignore", invalid="ignore")
def _plan(tables, left_h):
    """Give a time on the clock of the hub that seldom crosses the horizon, or mostly does."""
    per_h, away, spread_h = tables.pace
    middle_h = left_h / (1 + away)
    error_h = np.sqrt(spread_h * middle_h) / (1 + away)
    short_h, long_h = middle_h - 3 * error_h, np.fmin(middle_h + error_h, left_h)
    return np.minimum(np.where(short_h > _FEW / per_h, short_h, long_h), _MOST / per_h)


def _ask_times(tables, record, life, now_h, hub_h, counts, sums_h, rng):
    """Record stretches excursion by excursion, up to the horizon."""
    lane = np.repeat(np.tile(np.arange(life.size), len(counts)), counts.ravel())
    path = np.repeat(np.arange(len(counts)), counts.sum(axis=1))
    part = rng.random(lane.size)
    order = np.argsort(lane + part)
    lane, path = lane[order], path[order]
    states = tables.ways[:-1, path]
    stays_h = rng.standard_exponential(states.shape)
    stays_h[states == tables.hub] = 0.0
    place = states + lane * tables.states
    whole = np.bincount(place.ravel(), stays_h.ravel(), minlength=life.size * tables.states)
    stays_h *= np.divide(sums_h.T.ravel(), whole, out=np.zeros(whole.size), where=whole > 0)[place]
    away_h = stays_h.sum(axis=0)
    begin_h = np.cumsum(away_h) - away_h
    begin_h += now_h[lane] - begin_h[np.searchsorted(lane, lane)] + part[order] * hub_h[lane]
    _follow(tables, record, life[lane], path, begin_h, stays_h)


def _follow(tables, record, life, path, begin_h, stays_h):
    """Record excursions from the jump out of the hub on; give when they end."""
    record.events += int(np.count_nonzero(begin_h <= record.horizon_h))
    before = tables.hub
    for state, stay_h in zip(tables.ways[:, path], [*stays_h, None], strict=True):
        fails = np.flatnonzero(tables.is_up[before] > tables.is_up[state])
        record.outage(life[fails], begin_h[fails])
        on = np.flatnonzero(state != tables.hub)
        if on.size:
            begin_h[on] = record.stay(life[on], state[on], begin_h[on], stay_h[on])
        before = state
    return begin_h


def _live_end(tables, record, life, begin_h, fresh, rng):
    """Live through the excursions that end a stretch, from the jump out of the hub on."""
    kind = np.searchsorted(tables.ends_per_h, rng.random(life.size) * np.where(
        fresh, *tables.ends_per_h[[-1, 0]]), side="right")
    known = np.flatnonzero(kind)
    path = tables.failing[kind[known] - 1]
    stays_h = tables.mean_h[tables.ways[:-1, path]]
    stays_h *= rng.standard_exponential(stays_h.shape)
    end_h = begin_h.copy()
    end_h[known] = _follow(tables, record, life[known], path, begin_h[known], stays_h)
    stray = np.flatnonzero(kind == 0)
    first = tables.draw_next(np.full(stray.size, tables.leaving), rng)
    record.events += stray.size
    fails = np.flatnonzero(tables.is_up[tables.hub] > tables.is_up[first])
    record.outage(life[stray[fails]], begin_h[stray[fails]])
    end_h[stray] = _walk(tables, record, life[stray], first, begin_h[stray], rng)
    return end_h


def _walk_to_hub(tables, record, life, rng):
    """Begin lives, and give when each is in the hub for the first time."""
    at_h, state = np.zeros(life.size), tables.draw_start(life.size, rng)
    record.first_outage_h[life[~tables.is_up[state]]] = 0.0
    away = np.flatnonzero(state != tables.hub)
    at_h[away] = _walk(tables, record, life[away], state[away], at_h[away], rng)
    return at_h
