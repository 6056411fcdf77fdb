"""Live through a Markov chain many times at once: the engine behind `simulate_chain`.

Each life is drawn jump by jump, and each jump has its own exponential time. What makes it fast is
how the jumps are grouped. Most jumps of a repairable system go from one state, the *hub* ("all
good"), over one other ("one failed") or a few (the phases of a repair), and back. Such a plain
cycle always looks the same, so a table of plain cycles, one row per cycle and one column per life,
is filled with one exponential per state and no question asked. The cycles that go another way are
drawn apart: how far it is from one to the next is geometric, and they do not depend on the times
before them, so many are drawn in one go and put in their places. Most take one of a few paths, and again all
cycles of a path look the same; the rest stray, and each is followed jump by jump until it is
back at the hub. A chain without a good hub is followed jump by jump altogether.

Nothing is approximated: the times in a state do not depend on where the jump goes, the cycles
are independent of each other, and the end of a cycle that crosses the horizon is cut off there.

References
----------
L. Devroye, Non-Uniform Random Variate Generation, Springer 1986, ch. X.2 (geometric
distribution).
P. W. Glynn, D. L. Iglehart, "Simulation methods for queues: an overview", Queueing Systems 3
(1988) 221-255 (regenerative cycles).
"""

import math
from dataclasses import dataclass

import numpy as np

from labkit.simulation.chain_tables import ChainTables

# Stays in a table of plain cycles: as many doubles as fit the second-level cache of a core.
_STAYS = 131072
_ROWS = 8
# Lives that are followed jump by jump at the same time.
_LANES = 8192
# Odd cycles that are drawn in one go, at most.
_ODD = 16384


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
        self.hours = np.zeros((lives, tables.states))
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
        np.add.at(self.hours.reshape(-1), life * self.tables.states + state, inside_h)
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
    horizon_h, up, states = record.horizon_h, tables.is_up, tables.states
    hours = record.hours.reshape(-1)
    lanes = begun = min(_LANES, lives)
    life = np.arange(lanes)
    place = life * states
    state = tables.draw_start(lanes, rng)
    works = up.take(state)
    now_h = np.zeros(lanes)
    record.first_outage_h[life[~works]] = 0.0
    while life.size:
        stay_h = rng.standard_exponential(life.size)
        stay_h *= tables.mean_h.take(state)
        end_h = now_h + stay_h
        np.minimum(stay_h, horizon_h - now_h, out=stay_h)
        np.add.at(hours, place + state, stay_h)
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
            place[fresh] = life[fresh] * states
            begun += fresh.size
            now_h[fresh] = 0.0
            state[fresh] = tables.draw_start(fresh.size, rng)
            works[fresh] = up[state[fresh]]
            record.first_outage_h[life[fresh][~works[fresh]]] = 0.0
            if fresh.size < over.size:
                on = now_h <= horizon_h
                life, place, state, works, now_h = (
                    one[on] for one in (life, place, state, works, now_h)
                )


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


# -- cycle by cycle -----------------------------------------------------------------------------


class _OddBatch:
    """Draw a batch of odd cycles: into which cells of the table they fall, and how they go."""

    def __init__(self, tables, count, first_cell, horizon_h, rng):
        # P(gap > k) = (1 - odd)^k; cut where no table reaches, so that the sum stays an integer
        gap = rng.standard_exponential(count)
        gap /= -math.log1p(-tables.odd) if tables.odd < 1 else math.inf
        self.cell = np.cumsum(np.minimum(gap, 1e13).astype(np.int64) + 1) - 1
        self.passed = -first_cell
        self.life = np.zeros(count, dtype=np.int64)
        self.begin_h = np.full(count, np.inf)
        self.duration_h = np.empty(count)
        self.dealt = 0

        kind = np.searchsorted(tables.kinds, rng.random(count), side="right")
        self.of_path = []
        for number, path in enumerate(tables.paths[1:]):
            which = np.flatnonzero(kind == number)
            stays_h = rng.standard_exponential((len(path), which.size))
            stays_h *= tables.mean_h[list(path), None]
            self.duration_h[which] = stays_h.sum(axis=0)
            self.of_path.append((path, which, stays_h))
        self.stray = np.flatnonzero(kind == len(tables.kinds))
        start = np.full(self.stray.size, tables.leaving)
        self.first = tables.draw_next(start, rng)
        self.walks = _walks(tables, self.first, horizon_h, rng)
        self.duration_h[self.stray] = self.walks.duration_h
        # a cycle that outlasts any life need not be known any longer than that
        np.minimum(self.duration_h, 2 * horizon_h, out=self.duration_h)

    def deal(self, cells):
        """Give which of the batch fall into the next cells, and into which of them."""
        upto = int(np.searchsorted(self.cell, self.passed + cells))
        part = slice(self.dealt, upto)
        cell = self.cell[part] - self.passed
        self.dealt = upto
        self.passed += cells
        return part, cell

    def record(self, tables, record):
        up, hub = tables.is_up, tables.hub
        record.events += int(np.count_nonzero(self.begin_h <= record.horizon_h))
        life, begin_h = self.life.take(self.stray), self.begin_h.take(self.stray)
        fails = np.flatnonzero(up[hub] > up[self.first])
        record.outage(life[fails], begin_h[fails])
        _record_walks(tables, record, self.walks, life, begin_h)
        for path, which, stays_h in self.of_path:
            life, at_h = self.life.take(which), self.begin_h.take(which)
            before = hub
            for state, stay_h in zip(path, stays_h, strict=True):
                if up[before] > up[state]:
                    record.outage(life, at_h)
                at_h = record.stay(life, state, at_h, stay_h)
                before = state
            if up[before] > up[hub]:
                record.outage(life, at_h)


class _OddCycles:
    """Deal out odd cycles, batch after batch, in the order in which the table is filled."""

    def __init__(self, tables, record, expected, rng):
        self.tables, self.record, self.rng = tables, record, rng
        self.count = int(min(max(1.05 * expected, 64.0), _ODD))
        self.open = []

    def deal(self, cells):
        """List (batch, which of it, into which cells) for the next cells."""
        if not self.tables.odd:
            return []
        self.close(self.open[:-1])
        self.open = self.open[-1:]
        dealt = []
        while True:
            if not self.open or self.open[-1].dealt == self.count:
                last = self.open[-1] if self.open else None
                first_cell = int(last.cell[-1]) + 1 - last.passed + cells if last else 0
                self.open.append(
                    _OddBatch(
                        self.tables, self.count, first_cell, self.record.horizon_h, self.rng
                    )
                )
            batch = self.open[-1]
            dealt.append((batch, *batch.deal(cells)))
            if batch.dealt < self.count:
                return dealt

    def close(self, batches=None):
        """Put what has found its place into the record."""
        for batch in self.open if batches is None else batches:
            batch.record(self.tables, self.record)


def _live_by_cycles(tables, record, lives, rng):
    hub, path, horizon_h = tables.hub, tables.paths[0], record.horizon_h
    means_h = tables.mean_h[[hub, *path]]
    per_life = horizon_h / means_h.sum()
    most = _STAYS // means_h.size
    rows = int(min(max(per_life / 8, 1), _ROWS))
    width = min(lives, most // rows)
    rows = int(min(max(per_life / 8, 1), most // width))
    table_h = np.empty((means_h.size, rows * width))
    odd_cycles = _OddCycles(tables, record, tables.odd * lives * (per_life + rows), rng)
    fails = bool(tables.is_up[hub] > tables.is_up[path[0]])
    hours = record.hours.reshape(-1)

    life = np.arange(width)
    now_h, away_h = _walk_to_hub(tables, record, life, rng), np.zeros((len(path), width))
    begun = width
    while life.size:
        cells = rows * life.size
        end_h, *stays_h = table_h[:, :cells]
        for stay_h, mean_h in zip((end_h, *stays_h), means_h, strict=True):
            rng.standard_exponential(out=stay_h)
            stay_h *= mean_h
        odd = odd_cycles.deal(cells)
        for batch, part, cell in odd:
            for stay_h in stays_h:
                stay_h[cell] = 0.0
            stays_h[0][cell] = batch.duration_h[part]
        for stay_h in stays_h:
            end_h += stay_h
        ends = end_h.reshape(rows, -1)
        _add_up(now_h, ends)
        plain = cells
        for batch, part, cell in odd:
            batch.life[part] = life[cell % life.size]
            batch.begin_h[part] = end_h[cell] - stays_h[0][cell]
            # from here on a stay of 0 marks a cycle that is not plain
            stays_h[0][cell] = 0.0
            plain -= cell.size
        stays = [stay_h.reshape(rows, -1) for stay_h in stays_h]
        if fails:
            _record_plain_outages(record, life, ends, stays, odd)
        for spent_h, stay in zip(away_h, stays, strict=True):
            spent_h += stay.sum(axis=0)
        now_h = ends[-1].copy()
        record.events += means_h.size * plain
        over = np.flatnonzero(now_h > horizon_h)
        if over.size:
            done = life.take(over)
            until = ends.take(over, axis=1)
            for state, spent_h, stay in reversed(list(zip(path, away_h, stays, strict=True))):
                stay = stay.take(over, axis=1)
                beyond_h = _beyond(until, stay, horizon_h)
                record.events -= np.count_nonzero(beyond_h)
                hours[done * tables.states + state] += spent_h.take(over) - beyond_h.sum(axis=0)
                until -= stay
            never_left = (beyond_h == stay) & (beyond_h > 0)
            record.events -= np.count_nonzero(never_left)
            if fails:
                record.outages[done] -= never_left.sum(axis=0)
            fresh = np.arange(begun, min(begun + over.size, lives))
            begun += fresh.size
            again, gone = over[: fresh.size], over[fresh.size :]
            life[again], away_h[:, again] = fresh, 0.0
            now_h[again] = _walk_to_hub(tables, record, fresh, rng)
            if gone.size:
                on = np.ones(life.size, dtype=bool)
                on[gone] = False
                life, now_h, away_h = life[on], now_h[on], away_h[:, on]
    odd_cycles.close()
    # every hour that was not spent elsewhere was spent in the hub
    rest_h = horizon_h - record.hours.sum(axis=1)
    record.hours[:, hub] += np.maximum(rest_h, 0.0)


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


def _add_up(now_h, ends):
    """Turn the durations of cycles, a column for each life, into their ends; in place."""
    ends[0] += now_h
    if ends.shape[1] < 64:
        np.add.accumulate(ends, axis=0, out=ends)
        return
    for row in range(1, len(ends)):
        np.add(ends[row - 1], ends[row], out=ends[row])


def _beyond(ends, stays, horizon_h):
    """Give the hours of stays beyond the horizon, cell by cell, from when they end."""
    beyond_h = ends - horizon_h
    np.minimum(beyond_h, stays, out=beyond_h)
    return np.maximum(beyond_h, 0.0, out=beyond_h)


def _record_plain_outages(record, life, ends, stays, odd):
    """Count an outage for each plain cycle of the table, where the hub is left for a down state."""
    record.outages[life] += len(ends)
    for batch, part, _ in odd:
        np.subtract.at(record.outages, batch.life[part], 1)
    unseen = np.flatnonzero(np.isinf(record.first_outage_h[life]))
    if unseen.size:
        plain = stays[0][:, unseen] > 0
        row = plain.argmax(axis=0)
        begin_h = ends[row, unseen] - sum(stay[row, unseen] for stay in stays)
        seen = plain[row, np.arange(unseen.size)] & (begin_h <= record.horizon_h)
        record.first_outage_h[life[unseen[seen]]] = begin_h[seen]
