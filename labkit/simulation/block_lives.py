"""Live through a block of independent parts many times at once: the engine of `simulate_block`.

The changes of every part and chain are drawn for all lives together and put in order of time. Then
all lives take their next change at the same time, and the block is asked whether it works.

A part has two conditions, good (0) and failed (1); a chain in the block has the number of its state.
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
        parts = [k for k, one in enumerate(members) if hasattr(one, "mtbf_h")]
        self.part_rows = np.array(parts, dtype=np.int64)
        self.mtbf_h = np.array([members[k].mtbf_h for k in parts])
        self.mttr_h = np.array([members[k].mttr_h for k in parts])
        self.special = [
            (number, repair_times[self.names[k]])
            for number, k in enumerate(parts)
            if self.names[k] in repair_times
        ]
        self.chains = {k: _chain_tables(one.model) for k, one in enumerate(members)
                       if k not in parts}
        self.changes_per_h = float((2.0 / (self.mtbf_h + self.mttr_h)).sum()) + sum(
            each.changes_per_h for each in self.chains.values())
        self._steps = _compile(block, {name: k for k, name in enumerate(self.names)})

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
        known = []
        for kind, what, inner in self._steps:
            if kind == "constant":
                known.append(np.full(values.shape[1], what))
            elif kind == "leaf":
                known.append(inner[values[what]])
            else:
                known.append(np.add.reduce([known[k] for k in inner], dtype=np.int16) >= what)
        return known[-1]


def _compile(block, row):
    """List the blocks inside a block, inner before outer, each as a step of the evaluation."""
    steps, number = [], {}
    for one in inside(block):
        number[id(one)] = len(steps)
        if one.blocks:
            steps.append(("gate", one.needed, [number[id(each)] for each in one.blocks]))
        elif hasattr(one, "chain"):
            good = np.array([state in one.states for state in one.chain.model.states])
            steps.append(("leaf", row[one.chain.name], good))
        elif hasattr(one, "mtbf_h"):
            steps.append(("leaf", row[one.name], np.array([True, False])))
        else:
            steps.append(("constant", one.works, None))
    return steps


def _chain_tables(model):
    share, start = np.asarray(model.steady_state()), getattr(model, "start", None)
    begin = share if start is None else np.array(
        [start.get(state, 0.0) for state in model.states])
    return ChainTables(model.generator, np.ones(len(share), dtype=bool), begin, share)


def _part_changes(tables, horizon_h, lives, rng):
    part = np.repeat(np.arange(tables.part_rows.size), lives)
    life = np.tile(np.arange(lives), tables.part_rows.size)
    now_h = np.zeros(part.size)
    none = np.empty(0, dtype=np.int64)
    outages = [(none, none, np.empty(0), np.empty(0), np.empty(0, dtype=bool))]
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
        goes_on = end_h <= horizon_h
        outages.append((life, tables.part_rows[part], begin_h, end_h, goes_on))
        part, life, now_h = part[goes_on], life[goes_on], end_h[goes_on]
    life, variable, begin_h, end_h, back = (np.concatenate(column) for column in zip(*outages))
    back = np.flatnonzero(back)
    return (np.append(life, life[back]), np.append(variable, variable[back]),
            np.append(np.ones_like(life), np.zeros_like(back)), np.append(begin_h, end_h[back]))


def _chain_changes(row, tables, horizon_h, state, rng):
    """Draw the jumps of a chain that begins in these states, one for each life."""
    life, now_h = np.arange(state.size), np.zeros(state.size)
    pieces = []
    while life.size:
        now_h = now_h + tables.mean_h[state] * rng.standard_exponential(life.size)
        goal = tables.draw_next(state, rng)
        on = now_h <= horizon_h
        life, now_h, state = life[on], now_h[on], goal[on]
        pieces.append((life, np.full(life.size, row), state, now_h))
    return tuple(np.concatenate(column) for column in zip(*pieces))


def live(tables: BlockTables, horizon_h: float, lives: int, rng) -> BlockLives:
    """Live through a block `lives` times, each from 0, all parts new, to the horizon."""
    values = np.zeros((len(tables.names), lives), dtype=np.int16)
    pieces = [_part_changes(tables, horizon_h, lives, rng)]
    for row, chain in tables.chains.items():
        values[row] = chain.draw_start(lives, rng)
        pieces.append(_chain_changes(row, chain, horizon_h, values[row].astype(np.int64), rng))
    life, variable, value, at_h = (np.concatenate(column) for column in zip(*pieces))
    order = np.lexsort((at_h, life))
    life, variable, value, at_h = (column[order] for column in (life, variable, value, at_h))
    first = np.searchsorted(life, np.arange(lives + 1))
    count = np.diff(first)
    until_h = np.append(at_h, horizon_h)
    until_h[first[1:]] = horizon_h
    works = tables.works(values)
    begin_h = np.where(count > 0, np.append(at_h, horizon_h)[first[:-1]], horizon_h)
    down_h, outages = np.where(works, 0.0, begin_h), np.zeros(lives, dtype=np.int64)
    first_h = np.where(works, np.inf, 0.0)
    begun_by = np.zeros(len(tables.names), dtype=np.int64)
    longest = np.argsort(-count, kind="stable")
    for step in range(int(count.max())):
        active = longest[:np.searchsorted(-count[longest], -step)]
        change = first[active] + step
        values[variable[change], active] = value[change]
        before, now = works[active], tables.works(values[:, active])
        works[active] = now
        down_h[active] += np.where(now, 0.0, until_h[change + 1] - at_h[change])
        begins = before & ~now
        gone, change = active[begins], change[begins]
        outages[gone] += 1
        first_h[gone] = np.minimum(first_h[gone], at_h[change])
        np.add.at(begun_by, variable[change], 1)
    return BlockLives(down_h, outages, first_h, begun_by, life.size)
