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
# Changes of state in a life, at most: of one that is drawn, of one of which each change is kept.
MOST_DRAWN, MOST_KEPT = 100_000_000, 1_000_000


def refuse_endless(horizon_h: float, changes_per_h: float, most: int) -> None:
    """Refuse a life with more changes of state, in the long run, than can be drawn."""
    if horizon_h * changes_per_h > most:
        raise ValueError(f"horizon_h must be at most {most / changes_per_h:.3g} here, which "
                         f"is {most} changes of state in a life, got {horizon_h:g}")


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
    is the plain one. Of each, `path_per_h` is how often it is begun per hour in the hub,
    `path_jumps` how many jumps it has, `path_outages` how many of them are outages, and `visits`
    how often it comes to each state; a column of `ways` has its states and then the hub.
    `failing` are the paths with an outage, and `ends_per_h` sums up how often a cycle *strays*,
    which is to take no path, and these are begun. `pace` says of an hour in the hub how many
    excursions begin in it, how long they are together, and the variance of that.

    Stray cycles are drawn by a chain with a few states more, one for each beginning of a path: its
    jumps are those of the last state of the beginning, given that the cycle will not end as one of
    the paths. `leaving` is that of the hub itself.
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

        self.states, self.changes_per_h = n, float(share @ exits)
        plain, (self.hub, *path) = _plain_cycle(jumps, exits, share * exits)
        self.has_hub = plain > 0
        self.paths, chances = [tuple(path)], [plain]
        if self.has_hub:
            chances += self._find_paths(jumps, plain)
        jumps, last, stray = self._without_paths(jumps)
        self.real = np.append(np.arange(n), last)
        self.mean_h = mean_h[self.real]
        self.is_up = np.asarray(is_up, dtype=bool)[self.real]
        if self.has_hub:
            self._count_paths(np.array(chances), stray)
        self._width, self._keep, self._target = _alias_tables(jumps)
        self._begun = np.cumsum(start)

    def _count_paths(self, chances, stray):
        """Say of each path what it comes to, and how often it comes."""
        paths, hub = self.paths, self.hub
        self.ways = np.full((max(map(len, paths)) + 1, len(paths)), hub)
        for number, path in enumerate(paths):
            self.ways[:len(path), number] = path
        self.away = sorted({state for path in paths for state in path})
        self.visits = np.array([np.bincount(path, minlength=self.states) for path in paths])
        self.path_jumps = np.array([len(path) + 1 for path in paths])
        works = self.is_up[self.ways]
        self.path_outages = (np.roll(works, 1, axis=0) > works).sum(axis=0)
        self.failing = np.flatnonzero(self.path_outages)
        self.path_per_h = chances / self.mean_h[hub]
        self.ends_per_h = np.cumsum([stray / self.mean_h[hub], *self.path_per_h[self.failing]])
        means_h = [self.mean_h[list(path)] for path in paths]
        with np.errstate(over="ignore"):
            lasts_h = np.array([each_h.sum() for each_h in means_h])
            squares = lasts_h**2 + [(each_h**2).sum() for each_h in means_h]
            self.pace = self.path_per_h.sum(), self.path_per_h @ lasts_h, self.path_per_h @ squares

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
        *bounds, whole = self._begun
        return np.searchsorted(bounds, rng.random(count) * whole, side="right")

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


def _plain_cycle(jumps, exits, flow):
    """Choose the plain cycle that most jumps take; give its probability and its states, or 0.

    A cycle that is taken more often than not takes the most probable jump of each of its states.
    """
    likeliest = jumps.argmax(axis=1).tolist()
    best = 0.0, 0.0, [0]
    seen = set()
    for state in range(len(jumps)):
        way = []
        while state not in seen:
            seen.add(state)
            way.append(state)
            state = likeliest[state]
        if state not in way or len(cycle := way[way.index(state):]) < 2:
            continue
        plain = float(jumps[cycle, cycle[1:] + cycle[:1]].prod())
        if plain >= _PLAIN_ENOUGH:
            first = int(np.argmin(exits[cycle]))
            best = max(best, (plain * float(flow[cycle].min()), plain, cycle[first:] + cycle[:first]))
    return best[1:]


def _alias_tables(jumps):
    """Give the width, thresholds and targets of Walker's alias method, for all rows alike."""
    # a state that is never left jumps to itself
    jumps = np.where(jumps.any(axis=1)[:, None], jumps, np.eye(len(jumps)))
    width = int(np.count_nonzero(jumps, axis=1).max())
    keep = np.ones((len(jumps), width))
    target = np.empty((len(jumps), width, 2), dtype=np.intp)
    for state, row in enumerate(jumps):
        goals = np.flatnonzero(row)
        share = np.zeros(width)
        share[: len(goals)] = row[goals] * width
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
