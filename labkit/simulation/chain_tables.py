"""Tables of a Markov chain for drawing its jumps fast: alias tables, plain cycle, odd paths.

References
----------
L. Devroye, Non-Uniform Random Variate Generation, Springer 1986, ch. III.4 (alias method of
Walker).
"""

import heapq

import numpy as np

# Below this share of plain cycles a table of them does not pay.
_PLAIN_ENOUGH = 0.7
# The mean time in an absorbing state: beyond any horizon, and its multiples are still finite.
_FOREVER_H = 1e290
# Odd paths are told apart down to this share of the odd cycles, and up to this number.
_KIND_ENOUGH = 0.02
_KINDS = 8


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
    `paths` are the most frequent ways from the hub back to it, as the states between; the first
    is the plain one. `odd` is the probability that a cycle is not plain,
    `kinds` the cumulative shares of the other paths in the odd cycles. What is left are *stray*
    cycles, which take none of these paths. They are drawn by a chain with a few states more, one
    for each beginning of a path: its jumps are those of the last state of the beginning, given
    that the cycle will not end as one of the paths. `leaving` is that of the hub itself.
    All these probabilities are sums of products, never differences.
    """

    def __init__(self, generator, is_up, start, share):
        rates = np.array(generator, dtype=float)
        np.fill_diagonal(rates, 0.0)
        n = len(rates)
        exits = rates.sum(axis=1)
        jumps = np.zeros((n, n))
        np.divide(rates, exits[:, None], out=jumps, where=exits[:, None] > 0)
        mean_h = np.full(n, _FOREVER_H)
        np.divide(1.0, exits, out=mean_h, where=exits > 0)

        self.states = n
        plain, (self.hub, *path) = _plain_cycle(jumps, is_up, start, share * exits)
        self.has_hub = plain >= _PLAIN_ENOUGH
        self.paths, chances = [tuple(path)], []
        if self.has_hub:
            chances = self._find_paths(jumps, plain)
        jumps, last, stray = self._without_paths(jumps)
        self.odd = float(sum(chances) + stray)
        self.kinds = np.cumsum(chances) / self.odd if self.odd else np.empty(0)
        self.real = np.append(np.arange(n), last)
        self.mean_h = mean_h[self.real]
        self.is_up = np.asarray(is_up, dtype=bool)[self.real]
        self._width, self._keep, self._target = _alias_tables(jumps)
        self._begun = np.cumsum(start)
        self.starts_in_hub = bool(start[self.hub] == 1.0)

    def _find_paths(self, jumps, plain):
        """Add the most frequent paths, the most frequent first, and give their probabilities."""
        not_plain = jumps[self.hub].sum() - plain
        chances = []
        waiting = [(-1.0, ())]
        while waiting and len(chances) < _KINDS:
            chance, path = heapq.heappop(waiting)
            if -chance < _KIND_ENOUGH * not_plain:
                break
            if path and path[-1] == self.hub:
                if path[:-1] != self.paths[0]:
                    self.paths.append(path[:-1])
                    chances.append(-chance)
                continue
            row = jumps[path[-1] if path else self.hub]
            for goal in np.flatnonzero(row).tolist():
                heapq.heappush(waiting, (chance * float(row[goal]), (*path, goal)))
        return chances

    def _without_paths(self, jumps):
        """Extend the chain for stray cycles; give its jumps, the states added, how many stray."""
        n, hub = self.states, self.hub
        beginnings = {path[:length] for path in self.paths for length in range(len(path) + 1)}
        beginnings = sorted(beginnings, key=len, reverse=True)
        number = {path: n + k for k, path in enumerate(beginnings)}
        self.leaving = number[()]
        extended = np.zeros((n + len(number), n + len(number)))
        extended[:n, :n] = jumps
        strays = {}
        # the longest first, so that what lies behind a jump is known
        for path, row in number.items():
            for goal in np.flatnonzero(jumps[path[-1] if path else hub]).tolist():
                chance = jumps[path[-1] if path else hub, goal]
                longer = (*path, goal)
                if longer in number:
                    extended[row, number[longer]] = chance * strays[longer]
                elif not (goal == hub and path in self.paths):
                    extended[row, goal] = chance
            strays[path] = float(extended[row].sum())
            if strays[path]:
                extended[row] /= strays[path]
        last = [path[-1] if path else hub for path in number]
        return extended, last, strays[()]

    @classmethod
    def of(cls, model) -> "ChainTables":
        """Prepare a `MarkovModel`, which begins as its `start` says."""
        for needed in ("states", "generator", "up", "start", "steady_state"):
            if not hasattr(model, needed):
                raise TypeError(f"model must be a MarkovModel, got {model!r}")
        up = set(model.up)
        return cls(
            model.generator,
            np.array([state in up for state in model.states]),
            np.array([model.start.get(state, 0.0) for state in model.states]),
            np.asarray(model.steady_state(), dtype=float),
        )

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


def _plain_cycle(jumps, is_up, start, flow):
    """Choose the cycle that most jumps take; give its probability and its states, the hub first.

    A cycle that is taken more often than not takes the most probable jump of each of its states.
    """
    likeliest = jumps.argmax(axis=1).tolist()
    best = False, -1.0, 0.0, [0]
    seen = set()
    for state in range(len(jumps)):
        way = []
        while state not in seen:
            seen.add(state)
            way.append(state)
            state = likeliest[state]
        if state not in way or len(cycle := way[way.index(state):]) < 2:
            continue
        goals = cycle[1:] + cycle[:1]
        plain = float(jumps[cycle, goals].prod())
        fails = [place for place, (one, goal) in enumerate(zip(cycle, goals, strict=True))
                 if is_up[one] and not is_up[goal]]
        if len(fails) > 1:
            continue
        # An outage begins in a plain cycle only with its first jump.
        first = fails[0] if fails else int(np.argmax(start[cycle]))
        best = max(best, (plain >= _PLAIN_ENOUGH, plain * float(flow[cycle].min()), plain,
                          cycle[first:] + cycle[:first]))
    return best[2:]


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
