"""Live through a Markov chain many times at once: the engine behind `simulate_chain`.

Each life is drawn jump by jump, and each jump has its own exponential time. What makes it fast is
how the jumps are grouped. Most jumps of a repairable system go from one state, the *hub* ("all
good"), to one other, the *spoke* ("one failed"), and back. Such a plain cycle always looks the
same, so a table of plain cycles, one row per cycle and one column per life, is filled with two
exponentials per cell and no question asked. The cycles that go another way are drawn apart: how
far it is from one to the next is geometric, and each is followed jump by jump until it is back
at the hub. They do not depend on the times before them, so all of them are drawn in one go and
put in their places. A chain without a good hub is followed jump by jump altogether.

Nothing is approximated: the times in a state do not depend on where the jump goes, the cycles
are independent of each other, and the end of a cycle that crosses the horizon is cut off there.

References
----------
L. Devroye, Non-Uniform Random Variate Generation, Springer 1986: ch. III.4 (alias method of
Walker), ch. X.2 (geometric distribution).
P. W. Glynn, D. L. Iglehart, "Simulation methods for queues: an overview", Queueing Systems 3
(1988) 221-255 (regenerative cycles).
"""

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["ChainLives", "ChainTables", "live"]

# Cells of a table of plain cycles. Two tables of doubles fit the second-level cache of a core.
_CELLS = 65536
_ROWS = 8
# Lives that are followed jump by jump at the same time.
_LANES = 8192
# Odd cycles that are drawn in one go, at most.
_ODD = 8192
# Below this share of plain cycles the table does not pay.
_PLAIN_ENOUGH = 0.7
# The mean time in an absorbing state: beyond any horizon, and its multiples are still finite.
_FOREVER_H = 1e290


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


class ChainTables:
    """Prepare a chain for being lived through.

    Parameters
    ----------
    generator : (n, n) array of float
        Rates per hour, rows sum to 0.
    is_up : (n,) array of bool
        The states in which the system works.
    start : (n,) array of float
        Probabilities of the states at time 0.
    share : (n,) array of float
        Long-run probabilities, used only to choose the hub.

    Notes
    -----
    Two states are added to the chain for odd cycles: *leaving*, whose jumps are those of the hub
    given that the cycle is odd, and *staying*, the spoke given that it does not jump back.
    """

    def __init__(self, generator, is_up, start, share):
        rates = np.array(generator, dtype=float)
        np.fill_diagonal(rates, 0.0)
        n = len(rates)
        exits = rates.sum(axis=1)
        self.states = n
        self.leaving, self.staying = n + 1, n
        jumps = np.zeros((n + 2, n + 2))
        np.divide(rates, exits[:, None], out=jumps[:n, :n], where=exits[:, None] > 0)
        mean_h = np.full(n + 2, _FOREVER_H)
        np.divide(1.0, exits, out=mean_h[:n], where=exits > 0)
        self.hub, self.spoke = _hub_and_spoke(jumps[:n, :n], is_up, start, share * exits)
        hub, spoke = self.hub, self.spoke
        others = np.arange(n) != spoke
        not_back = np.where(np.arange(n) != hub, jumps[spoke, :n], 0.0)
        jumps[self.leaving, :n] = np.where(others, jumps[hub, :n], 0.0)
        jumps[self.leaving, self.staying] = jumps[hub, spoke] * not_back.sum()
        self.odd = float(jumps[self.leaving].sum())
        jumps[self.staying, :n] = not_back
        for row in (self.leaving, self.staying):
            if jumps[row].any():
                jumps[row] /= jumps[row].sum()
        self.real = np.append(np.arange(n), [spoke, hub])
        self.mean_h = mean_h
        mean_h[n:] = mean_h[[spoke, hub]]
        self.is_up = np.asarray(is_up, dtype=bool)[self.real]
        self.has_hub = jumps[hub, spoke] * jumps[spoke, hub] >= _PLAIN_ENOUGH
        self._width, self._keep, self._target = _alias_tables(jumps)
        self._begun = np.cumsum(start)
        self.starts_in_hub = start[hub] == 1.0

    def draw_start(self, count, rng):
        """Draw the states in which lives begin."""
        begun = np.searchsorted(self._begun, rng.random(count) * self._begun[-1], side="right")
        return np.minimum(begun, self.states - 1)

    def draw_next(self, state, rng):
        """Draw for each state the one that the chain jumps to."""
        place = rng.random(state.size)
        place *= self._width
        column = place.astype(np.intp)
        place -= column
        column += state * self._width
        choice = place >= self._keep.take(column)
        column *= 2
        column += choice
        return self._target.take(column)


def _hub_and_spoke(jumps, is_up, start, flow):
    """Choose the pair of states between which most jumps go to and fro."""
    back = jumps * jumps.T
    weight = flow[:, None] * back
    if not weight.any():
        weight = back
    weight = np.where(back >= min(_PLAIN_ENOUGH, back.max()), weight, -1.0)
    hub, spoke = (int(k) for k in np.unravel_index(np.argmax(weight), weight.shape))
    # An outage then begins in a plain cycle only with its first jump.
    hub, spoke = sorted((hub, spoke), key=lambda state: (not is_up[state], -start[state]))
    return hub, spoke


def _alias_tables(jumps):
    """Give the width, thresholds and targets of Walker's alias method, for all rows alike."""
    width = max(1, int((jumps > 0).sum(axis=1).max()))
    keep = np.ones((len(jumps), width))
    target = np.empty((len(jumps), width, 2), dtype=np.intp)
    for state, row in enumerate(jumps):
        goals = np.flatnonzero(row) if row.any() else np.array([state])
        share = np.zeros(width)
        share[: len(goals)] = row[goals] * width if row.any() else width
        target[state] = np.append(goals, np.full(width - len(goals), goals[0]))[:, None]
        small = [k for k in range(width) if share[k] < 1]
        large = [k for k in range(width) if share[k] >= 1]
        while small and large:
            less, more = small.pop(), large[-1]
            keep[state, less] = share[less]
            target[state, less, 1] = goals[more]
            share[more] -= 1 - share[less]
            if share[more] < 1:
                small.append(large.pop())
    return width, keep.ravel(), target.ravel()


class _Record:
    """Collect the hours, outages and events of lives, wherever they come from."""

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

    def result(self):
        return ChainLives(self.hours, self.outages, self.first_outage_h, self.events)


def live(tables: ChainTables, horizon_h: float, lives: int, rng) -> ChainLives:
    """Live through a chain `lives` times, each from 0 to the horizon."""
    record = _Record(tables, lives, horizon_h)
    if tables.has_hub:
        _live_by_cycles(tables, record, lives, rng)
    else:
        _live_by_jumps(tables, record, lives, rng)
    return record.result()


# -- jump by jump -------------------------------------------------------------------------------


def _live_by_jumps(tables, record, lives, rng):
    horizon_h, up = record.horizon_h, tables.is_up
    hours = record.hours.reshape(-1)
    lanes = begun = min(_LANES, lives)
    life = np.arange(lanes)
    state = tables.draw_start(lanes, rng)
    now_h = np.zeros(lanes)
    record.first_outage_h[life[~up[state]]] = 0.0
    while life.size:
        stay_h = rng.standard_exponential(life.size)
        stay_h *= tables.mean_h.take(state)
        end_h = now_h + stay_h
        np.minimum(stay_h, horizon_h - now_h, out=stay_h)
        # no life has two lanes, so no place is met twice
        hours[life * tables.states + state] += stay_h
        goal = tables.draw_next(state, rng)
        fails = np.flatnonzero(up.take(state) > up.take(goal))
        if fails.size:
            record.outage(life[fails], end_h[fails])
        over = np.flatnonzero(end_h > horizon_h)
        record.events += life.size - over.size
        now_h, state = end_h, goal
        if over.size:
            fresh = over[: lives - begun]
            life[fresh] = np.arange(begun, begun + fresh.size)
            begun += fresh.size
            now_h[fresh] = 0.0
            state[fresh] = tables.draw_start(fresh.size, rng)
            record.first_outage_h[life[fresh][~up[state[fresh]]]] = 0.0
            if fresh.size < over.size:
                on = now_h <= horizon_h
                life, state, now_h = life[on], state[on], now_h[on]


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
    # a walk that outlasts any life need not be known any longer than that
    return _Walks(np.minimum(duration_h, 2 * horizon_h), *columns)


def _record_walks(tables, record, walks, life, begin_h):
    """Add walks to the record; walk k belongs to life[k] and begins at begin_h[k]."""
    horizon_h = record.horizon_h
    of = life.take(walks.walk)
    at_h = begin_h.take(walks.walk)
    at_h += walks.after_h
    end_h = at_h + walks.stay_h
    inside_h = np.minimum(end_h, horizon_h)
    inside_h -= at_h
    np.maximum(inside_h, 0.0, out=inside_h)
    place = of * tables.states
    place += tables.real.take(walks.state)
    np.add.at(record.hours.reshape(-1), place, inside_h)
    fails = np.flatnonzero(walks.fails)
    record.outage(of[fails], end_h[fails])
    record.events += int(np.count_nonzero(end_h <= horizon_h))


# -- cycle by cycle -----------------------------------------------------------------------------


class _OddBatch:
    """Draw a batch of odd cycles: into which cells of the table they fall, and how they go."""

    def __init__(self, tables, count, first_cell, horizon_h, rng):
        # P(gap > k) = (1 - odd)^k; cut where no table reaches, so that the sum stays an integer
        gap = rng.standard_exponential(count)
        gap /= -math.log1p(-tables.odd) if tables.odd < 1 else math.inf
        self.cell = np.cumsum(np.minimum(gap, 1e13).astype(np.int64) + 1) - 1
        self.passed = -first_cell
        self.first = tables.draw_next(np.full(count, tables.leaving), rng)
        self.walks = _walks(tables, self.first, horizon_h, rng)
        self.life = np.zeros(count, dtype=np.int64)
        self.begin_h = np.full(count, np.inf)
        self.dealt = 0

    def deal(self, cells):
        """Give which of the batch fall into the next cells, and into which of them."""
        upto = int(np.searchsorted(self.cell, self.passed + cells))
        part = slice(self.dealt, upto)
        cell = self.cell[part] - self.passed
        self.dealt = upto
        self.passed += cells
        return part, cell

    def record(self, tables, record):
        fails = np.flatnonzero(tables.is_up[tables.hub] > tables.is_up[self.first])
        record.outage(self.life[fails], self.begin_h[fails])
        record.events += int(np.count_nonzero(self.begin_h <= record.horizon_h))
        _record_walks(tables, record, self.walks, self.life, self.begin_h)


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
    hub, spoke, horizon_h = tables.hub, tables.spoke, record.horizon_h
    cycle_h = tables.mean_h[hub] + tables.mean_h[spoke]
    per_life = horizon_h / cycle_h
    rows = int(min(max(per_life / 8, 1), _ROWS))
    width = min(lives, _CELLS // rows)
    rows = int(min(max(per_life / 8, 1), _CELLS // width))
    cell_hub_h, cell_spoke_h = np.empty(rows * width), np.empty(rows * width)
    odd_cycles = _OddCycles(tables, record, tables.odd * lives * (per_life + rows), rng)
    spoke_fails = bool(tables.is_up[hub] > tables.is_up[spoke])
    hours = record.hours.reshape(-1)

    life = np.arange(width)
    now_h, spoke_h = _walk_to_hub(tables, record, life, rng), np.zeros(width)
    begun = width
    while life.size:
        cells = rows * life.size
        end_h, stay_h = cell_hub_h[:cells], cell_spoke_h[:cells]
        rng.standard_exponential(out=end_h)
        end_h *= tables.mean_h[hub]
        rng.standard_exponential(out=stay_h)
        stay_h *= tables.mean_h[spoke]
        odd = odd_cycles.deal(cells)
        for batch, part, cell in odd:
            stay_h[cell] = batch.walks.duration_h[part]
        end_h += stay_h
        ends = end_h.reshape(rows, -1)
        _add_up(now_h, ends)
        plain = cells
        for batch, part, cell in odd:
            batch.life[part] = life[cell % life.size]
            batch.begin_h[part] = end_h[cell] - stay_h[cell]
            # from here on a stay of 0 marks a cycle that is not plain
            stay_h[cell] = 0.0
            plain -= cell.size
        stays = stay_h.reshape(rows, -1)
        if spoke_fails:
            _record_plain_outages(record, life, ends, stays, odd)
        spoke_h += stays.sum(axis=0)
        now_h = ends[-1].copy()
        record.events += 2 * plain
        over = np.flatnonzero(now_h > horizon_h)
        if over.size:
            over_stays = stays.take(over, axis=1)
            beyond_h = _beyond(ends.take(over, axis=1), over_stays, horizon_h)
            never_left = (beyond_h == over_stays) & (beyond_h > 0)
            record.events -= np.count_nonzero(beyond_h) + np.count_nonzero(never_left)
            done = life.take(over)
            hours[done * tables.states + spoke] += spoke_h.take(over) - beyond_h.sum(axis=0)
            if spoke_fails:
                record.outages[done] -= never_left.sum(axis=0)
            fresh = np.arange(begun, min(begun + over.size, lives))
            begun += fresh.size
            again, gone = over[: fresh.size], over[fresh.size :]
            life[again], spoke_h[again] = fresh, 0.0
            now_h[again] = _walk_to_hub(tables, record, fresh, rng)
            if gone.size:
                life, now_h, spoke_h = (np.delete(one, gone) for one in (life, now_h, spoke_h))
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
    """Give the hours that plain cycles stay in the spoke beyond the horizon, cell by cell."""
    beyond_h = ends - horizon_h
    np.minimum(beyond_h, stays, out=beyond_h)
    return np.maximum(beyond_h, 0.0, out=beyond_h)


def _record_plain_outages(record, life, ends, stays, odd):
    """Count an outage for each plain cycle of the table, where the spoke is a down state."""
    record.outages[life] += len(ends)
    for batch, part, _ in odd:
        np.subtract.at(record.outages, batch.life[part], 1)
    unseen = np.flatnonzero(np.isinf(record.first_outage_h[life]))
    if unseen.size:
        plain = stays[:, unseen] > 0
        row = plain.argmax(axis=0)
        begin_h = ends[row, unseen] - stays[row, unseen]
        seen = plain[row, np.arange(unseen.size)] & (begin_h <= record.horizon_h)
        record.first_outage_h[life[unseen[seen]]] = begin_h[seen]
