"""Live through a block of independent parts many times at once: the engine of `simulate_block`.

Every part has its outages, drawn for all lives together. Only where outages overlap, or where one
part alone stops the block, does the block have to be asked. So the changes of all parts are put
in order of time and cut into *clusters*: spans in which at least one part is not at its best. The
clusters that matter are then gone through in step, change by change, all of them at once.

A part has two conditions, good (0) and failed (1). A chain in the block is one variable of
several conditions: 0 while all that the block asks of it holds, else the number of its state + 1.
"""

from dataclasses import dataclass

import numpy as np

from labkit.arguments import instance, mapping
from labkit.availability.blocks import Block
from labkit.availability.modules import inside
from labkit.simulation.chain_tables import ChainTables


@dataclass(frozen=True)
class BlockLives:
    """Hold what a number of lives came to; row k of each array is life k.

    Attributes
    ----------
    down_h, outages, first_outage_h : (lives,) arrays
        Hours down, number of outages begun, time of the first (infinite if none).
    begun_by : (variables,) array of int
        Outages of all lives that began with a change of this part or chain.
    events : int
        Failures and restorations of parts, and jumps of chains.
    """

    down_h: np.ndarray
    outages: np.ndarray
    first_outage_h: np.ndarray
    begun_by: np.ndarray
    events: int


class BlockTables:
    """Prepare a block for being lived through.

    Parameters
    ----------
    block : Block
        Of `labkit.availability.parts`.
    repair_times : mapping
        Name of a part -> object with `draw(rng, count)`, for the parts that are not restored at
        a constant rate.
    """

    def __init__(self, block, repair_times):
        self.names = tuple(block.parts)
        members = list(block.parts.values())
        row = {name: k for k, name in enumerate(self.names)}
        parts = [k for k, one in enumerate(members) if hasattr(one, "mtbf_h")]
        self.part_rows = np.array(parts, dtype=np.int64)
        self.mtbf_h = np.array([members[k].mtbf_h for k in parts])
        self.mttr_h = np.array([members[k].mttr_h for k in parts])
        self.special = [
            (number, repair_times[self.names[k]])
            for number, k in enumerate(parts)
            if self.names[k] in repair_times
        ]
        steps = _compile(block, row)
        best = _best_states(steps)
        self.chains = {k: _chain_variable(members[k].model, best[k]) for k in best}
        self._steps = [
            (kind, what, self.chains[what].holds(inner) if kind == "chain" else inner)
            for kind, what, inner in steps
        ]
        count = len(self.names)
        self.works_at_best = bool(self.works(np.zeros((count, 1), dtype=np.int16))[0])
        self.matters_alone = np.ones(count, dtype=bool)
        self.matters_alone[self.part_rows] = ~self.works(np.eye(count, dtype=np.int16))[
            self.part_rows
        ]

    @classmethod
    def of(cls, block, repair_times) -> "BlockTables":
        """Prepare a block with the repair times of some of its parts, or None."""
        instance("block", block, Block)
        repair_times = {} if repair_times is None else dict(
            mapping("repair_times", repair_times, "part to repair time"))
        for name, repair in repair_times.items():
            if not hasattr(block.parts.get(name), "mtbf_h"):
                raise ValueError(f"repair_times must name parts of the block, got {name!r}")
            if not callable(getattr(repair, "draw", None)):
                raise TypeError(
                    f"repair_times[{name!r}] must have draw(rng, count), got {repair!r}"
                )
        return cls(block, repair_times)

    def works(self, values):
        """Give whether the block works, for each column of conditions."""
        count = values.shape[1]
        known = []
        for kind, what, inner in self._steps:
            if kind == "constant":
                known.append(np.full(count, what))
            elif kind == "part":
                known.append(values[what] == 0)
            elif kind == "chain":
                known.append(inner[values[what]])
            elif what == 1:
                known.append(np.logical_or.reduce([known[k] for k in inner]))
            elif what == len(inner):
                known.append(np.logical_and.reduce([known[k] for k in inner]))
            else:
                working = np.zeros(count, dtype=np.int16)
                for k in inner:
                    working += known[k]
                known.append(working >= what)
        return known[-1]


def _compile(block, row):
    """List the blocks inside a block, inner before outer, each as a step of the evaluation."""
    steps, number = [], {}
    for one in inside(block):
        number[id(one)] = len(steps)
        if one.blocks:
            steps.append(("gate", one.needed, [number[id(each)] for each in one.blocks]))
        elif hasattr(one, "chain"):
            steps.append(("chain", row[one.chain.name], one.states))
        elif hasattr(one, "mtbf_h"):
            steps.append(("part", row[one.name], None))
        else:
            steps.append(("constant", one.works, None))
    return steps


def _best_states(steps):
    """Give for each chain the states in which all that is asked of it holds."""
    best = {}
    for kind, row, states in steps:
        if kind == "chain":
            best[row] = best[row] & states if row in best else states
    return best


@dataclass(frozen=True)
class _ChainVariable:
    """Hold a chain that stands in a block, with the condition that belongs to each state."""

    tables: ChainTables
    states: tuple
    condition: np.ndarray

    def holds(self, wanted):
        """Tell for each condition whether the chain is then in one of the states wanted."""
        table = np.zeros(len(self.states) + 1, dtype=bool)
        table[self.condition] = [state in wanted for state in self.states]
        return table


def _chain_variable(model, best):
    states = tuple(model.states)
    good = np.array([state in best for state in states])
    share = np.asarray(model.steady_state(), dtype=float)
    start = getattr(model, "start", None)
    begin = share if start is None else np.array([start.get(state, 0.0) for state in states])
    condition = np.where(good, 0, np.arange(1, len(states) + 1))
    return _ChainVariable(ChainTables(model.generator, good, begin, share), states, condition)


@dataclass(frozen=True)
class Changes:
    """Hold all changes of all parts and chains, in order of life and time.

    Attributes
    ----------
    life, variable, value : arrays of int
        Which life, which part or chain, and its condition from then on.
    at_h : array of float
        When; a variable that is not at its best at the horizon is put right there.
    worse : array of int
        1 where the variable leaves its best condition, -1 where it is back, else 0.
    events : int
        Changes before the horizon.
    """

    life: np.ndarray
    variable: np.ndarray
    value: np.ndarray
    at_h: np.ndarray
    worse: np.ndarray
    events: int


def draw_changes(tables: BlockTables, horizon_h: float, lives: int, rng) -> Changes:
    """Draw what happens to every part and chain in a number of lives."""
    pieces = [_part_changes(tables, horizon_h, lives, rng)]
    for row, chain in tables.chains.items():
        pieces.append(_chain_changes(row, chain, horizon_h, lives, rng))
    life, variable, value, at_h, worse = (
        np.concatenate(column) for column in zip(*(piece[0] for piece in pieces))
    )
    # by life and then by time; a stable sort of short numbers costs next to nothing
    order = np.argsort(at_h, kind="stable")
    short = np.min_scalar_type(lives)
    order = order[np.argsort(life[order].astype(short), kind="stable")]
    columns = (column[order] for column in (life, variable, value, at_h, worse))
    return Changes(*columns, events=sum(piece[1] for piece in pieces))


def _part_changes(tables, horizon_h, lives, rng):
    part = np.repeat(np.arange(tables.part_rows.size), lives)
    life = np.tile(np.arange(lives), tables.part_rows.size)
    now_h = np.zeros(part.size)
    outages = []
    while part.size:
        begin_h = rng.standard_exponential(part.size)
        begin_h *= tables.mtbf_h[part]
        begin_h += now_h
        fails = begin_h <= horizon_h
        part, life, begin_h = part[fails], life[fails], begin_h[fails]
        repair_h = rng.standard_exponential(part.size)
        repair_h *= tables.mttr_h[part]
        for number, repair in tables.special:
            # the parts stand in order, whoever has dropped out
            here = slice(*np.searchsorted(part, (number, number + 1)))
            repair_h[here] = repair.draw(rng, here.stop - here.start)
        end_h = begin_h + repair_h
        outages.append((life, tables.part_rows[part], begin_h, end_h))
        goes_on = end_h <= horizon_h
        part, life, now_h = part[goes_on], life[goes_on], end_h[goes_on]
    if not outages:
        empty = np.empty(0, dtype=np.int64)
        return (empty, empty, empty, np.empty(0), empty), 0
    life, variable, begin_h, end_h = (np.concatenate(column) for column in zip(*outages))
    ones = np.ones(life.size, dtype=np.int64)
    events = life.size + int(np.count_nonzero(end_h <= horizon_h))
    columns = (
        np.tile(life, 2),
        np.tile(variable, 2),
        np.concatenate([ones, 0 * ones]),
        np.concatenate([begin_h, np.minimum(end_h, horizon_h)]),
        np.concatenate([ones, -ones]),
    )
    return columns, events


def _chain_changes(row, chain, horizon_h, lives, rng):
    tables, condition = chain.tables, chain.condition
    life = np.arange(lives)
    state = tables.draw_start(lives, rng)
    now_h = np.zeros(lives)
    pieces = [(life, condition[state], now_h, np.sign(condition[state]))]
    events = 0
    while life.size:
        now_h = now_h + tables.mean_h[state] * rng.standard_exponential(life.size)
        goal = tables.draw_next(state, rng)
        over, on = now_h > horizon_h, now_h <= horizon_h
        last = condition[state[over]]
        pieces.append((life[over], 0 * last, np.full(last.size, horizon_h), -np.sign(last)))
        life, now_h, state, goal = life[on], now_h[on], state[on], goal[on]
        events += life.size
        worse = np.sign(condition[goal]) - np.sign(condition[state])
        pieces.append((life, condition[goal], now_h, worse))
        state = goal
    life, value, at_h, worse = (np.concatenate(column) for column in zip(*pieces))
    # a jump between two states in which all that is asked holds is no change
    real = (worse != 0) | (value > 0)
    row = np.full(np.count_nonzero(real), row)
    return (life[real], row, value[real], at_h[real], worse[real]), events


def down_spans(tables: BlockTables, changes: Changes):
    """Find the spans between two changes in which the block is down.

    Returns
    -------
    life, change : arrays of int
        Whose span it is, and the change at its beginning.
    begins : array of bool
        Whether the block was working before.
    stay_h : array of float
        Length; the next span may follow at once.
    """
    running = np.cumsum(changes.worse)
    begins_cluster = np.flatnonzero(running - changes.worse == 0)
    length = np.diff(np.append(begins_cluster, running.size))
    alone = (length == 2) & ~tables.matters_alone[changes.variable[begins_cluster]]
    begins_cluster, length = begins_cluster[~alone], length[~alone]
    order = np.argsort(-length, kind="stable")
    first, steps = begins_cluster[order], length[order] - 1
    values = np.zeros((len(tables.names), first.size), dtype=np.int16)
    worked = np.ones(first.size, dtype=bool)
    spans = []
    for step in range(int(steps[0]) if steps.size else 0):
        active = int(np.searchsorted(-steps, -step))
        change = first[:active] + step
        values[changes.variable[change], np.arange(active)] = changes.value[change]
        works = tables.works(values[:, :active])
        down = np.flatnonzero(~works)
        change = change[down]
        stay_h = changes.at_h[change + 1] - changes.at_h[change]
        spans.append((changes.life[change], change, worked[down], stay_h))
        worked = works
    if not spans:
        empty = np.empty(0, dtype=np.int64)
        return empty, empty, empty.astype(bool), np.empty(0)
    return tuple(np.concatenate(column) for column in zip(*spans))


def live(tables: BlockTables, horizon_h: float, lives: int, rng) -> BlockLives:
    """Live through a block `lives` times, each from 0, all parts new, to the horizon."""
    changes = draw_changes(tables, horizon_h, lives, rng)
    begun_by = np.zeros(len(tables.names), dtype=np.int64)
    if not tables.works_at_best:
        down_h, first_h = np.full(lives, float(horizon_h)), np.zeros(lives)
        return BlockLives(down_h, np.zeros(lives, np.int64), first_h, begun_by, changes.events)
    life, change, begins, stay_h = down_spans(tables, changes)
    down_h = np.bincount(life, weights=stay_h, minlength=lives)
    life, change = life[begins], change[begins]
    first_h = np.full(lives, np.inf)
    np.minimum.at(first_h, life, changes.at_h[change])
    # a chain may start in a state in which the block is down; that is no outage begun
    later = changes.at_h[change] > 0
    life, change = life[later], change[later]
    np.add.at(begun_by, changes.variable[change], 1)
    outages = np.bincount(life, minlength=lives)
    return BlockLives(down_h, outages, first_h, begun_by, changes.events)
