"""Tables of a Markov chain for drawing its jumps: by inversion, many states at once."""

import numpy as np

# The mean time in an absorbing state: beyond any horizon, and its multiples are still finite.
_FOREVER_H = 1e290


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
    """

    def __init__(self, generator, is_up, start):
        rates = np.array(generator, dtype=float)
        np.fill_diagonal(rates, 0.0)
        exits = rates.sum(axis=1)
        self.states = len(rates)
        self.mean_h = np.full(self.states, _FOREVER_H)
        np.divide(1.0, exits, out=self.mean_h, where=exits > 0)
        self.is_up = np.asarray(is_up, dtype=bool)
        self._begun = np.cumsum(start)
        # what is absorbing stays where it is
        rates[exits == 0, exits == 0] = 1.0
        state, self._goals = np.nonzero(rates)
        chances = np.cumsum(rates, axis=1) / rates.sum(axis=1, keepdims=True)
        self._until = state + chances[state, self._goals]
        self._last = np.cumsum(np.bincount(state)) - 1

    @classmethod
    def of(cls, model) -> "ChainTables":
        """Prepare a `MarkovModel`, which begins as its `start` says."""
        for needed in ("states", "generator", "up", "start"):
            if not hasattr(model, needed):
                raise TypeError(f"model must be a MarkovModel, got {model!r}")
        up = set(model.up)
        return cls(
            model.generator,
            np.array([state in up for state in model.states]),
            np.array([model.start.get(state, 0.0) for state in model.states]),
        )

    def draw_start(self, count, rng):
        """Draw the states in which lives begin."""
        begun = np.searchsorted(self._begun, rng.random(count) * self._begun[-1], side="right")
        return np.minimum(begun, self.states - 1)

    def draw_next(self, state, rng):
        """Draw for each state the one that the chain jumps to."""
        place = np.searchsorted(self._until, state + rng.random(state.size), side="right")
        return self._goals[np.minimum(place, self._last[state])]
