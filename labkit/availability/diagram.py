"""Reduced ordered decision diagrams of structure functions, with two or more classes per variable.

A diagram holds monotone yes/no functions ("the block has failed") of independent variables. Each
variable is in one of a few *classes*. Class 0 is the best, the last class the worst; in between
the classes may be only partly ordered. Two-state parts have two classes: good and failed.

Everything here is counted with sums and products of terms that are not negative, so that a result
of 1e-30 has as many right digits as one of 0.5.

References
----------
R. E. Bryant, "Graph-based algorithms for Boolean function manipulation", IEEE Transactions on
Computers C-35 (1986) 677-691.
A. Rauzy, "New algorithms for fault trees analysis", Reliability Engineering and System Safety 40
(1993) 203-211.
B. Natvig, "Multistate Systems Reliability Theory with Applications", Wiley 2011, chapter 2
(monotone systems of more than two states, minimal cut vectors).
"""

from collections import Counter
from collections.abc import Callable, Collection, Hashable, Mapping, Sequence

import numpy as np

WORKS = 0
FAILED = 1
# About a minute of work and 600 MB; a plant of 1000 parts with 60 shared ones needs some 10 000.
MOST_NODES = 1_000_000


def _solve(task: Hashable, known: Callable, split: Callable, join: Callable, memo: dict):
    """Solve a recursion with a stack of its own, however deep it goes.

    `known(task)` gives the answer of an easy task or one in `memo`, or None; `split(task)` the
    level it is at and the tasks below; `join(task, level, answers)` its answer, kept in `memo`.
    """
    answer = known(task)
    if answer is not None:
        return answer
    waiting = [(task, *split(task))]
    while waiting:
        current, level, below = waiting[-1]
        answers = [known(one) for one in below]
        unknown = [one for one, answer in zip(below, answers) if answer is None]
        if unknown:
            waiting.extend((one, *split(one)) for one in unknown)
            continue
        memo[current] = join(current, level, answers)
        # Two tasks may have asked for the same one.
        while waiting and waiting[-1][0] in memo:
            waiting.pop()
    return memo[task]


class Diagram:
    """Hold functions of ordered variables as nodes of one shared, reduced diagram.

    A node is a number; 0 (`WORKS`) and 1 (`FAILED`) are the two ends. Nodes are made below
    before above, so the number of a node is greater than those of its children.

    Parameters
    ----------
    better : sequence of sequences of tuple of int
        For each variable, in the order of the diagram: for each of its classes the classes that
        are strictly better. A two-state part has ``((), (0,))``.

    >>> diagram = Diagram([((), (0,)), ((), (0,))])
    >>> a, b = diagram.node(0, (WORKS, FAILED)), diagram.node(1, (WORKS, FAILED))
    >>> pair = diagram.choose(a, b, WORKS)
    >>> diagram.probabilities(pair, [(0.9, 0.1), (0.75, 0.25)], FAILED)[pair]
    0.025
    """

    def __init__(self, better: Sequence[Sequence[tuple[int, ...]]]):
        self.better = tuple(better)
        ends = len(self.better)
        self.level = [ends, ends]
        self.children: list[tuple[int, ...]] = [(), ()]
        self._unique: dict[tuple, int] = {}
        self._chosen: dict[tuple, int] = {}
        self._raised: dict[tuple, int] = {}
        self._minimal: dict[int, int] = {}
        self._stripped: dict[tuple, int] = {}

    def node(self, level: int, children: tuple[int, ...]) -> int:
        """Give the node of a variable with one child per class; equal children need no node."""
        first, *others = children
        if others.count(first) == len(others):
            return first
        return self._store(level, children)

    def _store(self, level: int, children: tuple[int, ...]) -> int:
        key = (level, children)
        found = self._unique.get(key)
        if found is None:
            found = self._unique[key] = len(self.level)
            self.level.append(level)
            self.children.append(children)
            if found > MOST_NODES:
                raise ValueError(
                    f"a block must need at most {MOST_NODES} nodes of a decision diagram: too many "
                    f"parts stand in several places, or a vote has too many members"
                )
        return found

    def _cofactors(self, functions: tuple[int, ...]) -> tuple[int, list[tuple[int, ...]]]:
        """Give the topmost level of some functions, and what they become in each class there."""
        levels = [self.level[one] for one in functions]
        top = min(levels)
        width = len(self.better[top])
        columns = [
            self.children[one] if level == top else (one,) * width
            for one, level in zip(functions, levels)
        ]
        return top, list(zip(*columns))

    def choose(self, condition: int, if_failed: int, if_works: int) -> int:
        """Give the function that is `if_failed` where `condition` has failed, else `if_works`."""
        memo = self._chosen

        def known(task):
            condition, if_failed, if_works = task
            if condition == FAILED or if_failed == if_works:
                return if_failed
            if condition == WORKS:
                return if_works
            if if_failed == FAILED and if_works in (WORKS, condition):
                return condition
            return memo.get(task)

        return _solve((condition, if_failed, if_works), known, self._cofactors, self._join, memo)

    def either(self, one: int, two: int) -> int:
        """Give the function that fails where at least one of two functions has failed."""
        return self.choose(min(one, two), FAILED, max(one, two))

    def _join(self, task: tuple, level: int, answers: list[int]) -> int:
        return self.node(level, tuple(answers))

    def threshold(self, number: int, functions: Sequence[int]) -> int:
        """Give the function that fails where at least `number` of the functions have failed."""
        # Built from the last in the order to the first, so that most steps only add above what
        # is there. row[m]: at least m of the functions from here on.
        functions = sorted(functions, key=self.level.__getitem__)
        row = [FAILED] + [WORKS] * number
        for place in reversed(range(len(functions))):
            # At most `place` failures can be counted before this place.
            for wanted in range(number, max(1, number - place) - 1, -1):
                row[wanted] = self.choose(functions[place], row[wanted - 1], row[wanted])
        return row[number]

    def nodes_of(self, function: int, known: Collection[int] = (WORKS, FAILED)) -> list[int]:
        """List the nodes of a function, children before parents, without those known."""
        seen = set()
        waiting = [function]
        while waiting:
            node = waiting.pop()
            if node not in seen and node not in known:
                seen.add(node)
                waiting.extend(self.children[node])
        return sorted(seen)

    def probabilities(
        self, function: int, chances: Sequence[Sequence], end: int, known: dict | None = None
    ) -> dict:
        """Give the probability of `end` for each node of a function.

        `chances` holds the probability of each class of each variable: numbers, or arrays of one
        shape. With `known`, found before with the same chances and end, only what is new is
        worked out and added to it.
        """
        value = {end: 1.0, 1 - end: 0.0} if known is None else known
        level, children = self.level, self.children
        for node in self.nodes_of(function, value):
            total = 0.0
            for chance, child in zip(chances[level[node]], children[node]):
                total = total + chance * value[child]
            value[node] = total
        return value

    def reach(self, function: int, chances: Sequence[Sequence[float]]) -> dict[int, float]:
        """Give the probability of coming through each node on the way down from the function."""
        nodes = self.nodes_of(function)
        reach = dict.fromkeys([WORKS, FAILED, *nodes], 0.0)
        reach[function] = 1.0
        for node in reversed(nodes):
            here = reach[node]
            for chance, child in zip(chances[self.level[node]], self.children[node]):
                reach[child] += here * chance
        return reach

    def lost(
        self,
        failed: int,
        works: int,
        chances: Sequence[Sequence[float]],
        memo: dict,
        down: Mapping[int, float],
        up: Mapping[int, float],
    ) -> float:
        """Give the probability that `failed` has failed while `works` works.

        `memo` keeps answers between calls with the same chances; `down` and `up` are the
        probabilities of failed and working of the nodes of both functions.
        """

        def known(task):
            failed, works = task
            if failed == works or failed == WORKS or works == FAILED:
                return 0.0
            if works == WORKS:
                return down[failed]
            if failed == FAILED:
                return up[works]
            return memo.get(task)

        def join(task, level, answers):
            return sum(chance * one for chance, one in zip(chances[level], answers))

        return _solve((failed, works), known, self._cofactors, join, memo)

    # ------------------------------------------------------------------ minimal cut vectors

    def _worsened(self, level: int, answers: Sequence[int]) -> int:
        """Make a function monotone in one variable: what happens in a class happens in worse."""
        children = []
        for own, better in zip(answers, self.better[level]):
            for one in better:
                own = self.either(own, answers[one])
            children.append(own)
        return self.node(level, tuple(children))

    def _raise(self, failed: int, works: int) -> int:
        """Give the least monotone function above "`failed` has failed while `works` works"."""

        memo = self._raised

        def known(task):
            failed, works = task
            if failed == works or failed == WORKS or works == FAILED:
                return WORKS
            if works == WORKS:
                return failed
            if failed == FAILED:
                return FAILED
            return memo.get(task)

        def join(task, level, answers):
            return self._worsened(level, answers)

        return _solve((failed, works), known, self._cofactors, join, memo)

    def containing(self, function: int) -> list[int]:
        """Give for each variable the function that fails where a minimal cut vector names it.

        A minimal cut vector below the present state names the variable exactly if some state
        that is nowhere worse than the present one fails, and works once the variable is put to
        its best class.
        """
        # For each node an array with the function of each variable; freed when no parent is left.
        nothing = np.zeros(len(self.better), dtype=np.int32)
        found = {WORKS: nothing, FAILED: nothing}
        nodes = self.nodes_of(function)
        waiting = Counter(child for node in nodes for child in self.children[node])
        for node in nodes:
            level, children = self.level[node], self.children[node]
            below = np.array([found[child] for child in children])
            here = below[0].copy()
            differs = ((below != here) & (below != WORKS)).any(axis=0)
            for other in np.flatnonzero(differs).tolist():
                here[other] = self._worsened(level, below[:, other].tolist())
            here[level] = self.node(level, tuple(self._raise(one, children[0]) for one in children))
            found[node] = here
            for child in children:
                waiting[child] -= 1
                if not waiting[child] and child not in (WORKS, FAILED):
                    del found[child]
        return found[function].tolist()

    # In the diagrams of minimal cut vectors a path that misses a variable has it in class 0, so a
    # node goes away when all its children but the first are empty.

    def _vectors(self, level: int, children: Sequence[int]) -> int:
        if not any(children[1:]):
            return children[0]
        return self._store(level, tuple(children))

    def _strip(self, vectors: int, function: int) -> int:
        """Leave out the vectors with which the function has failed already."""
        memo = self._stripped

        def known(task):
            vectors, function = task
            if vectors == WORKS or function == FAILED:
                return WORKS
            if function == WORKS or vectors == FAILED:
                return vectors
            return memo.get(task)

        def split(task):
            vectors, function = task
            if self.level[function] < self.level[vectors]:
                return self.level[function], [(vectors, self.children[function][0])]
            return self._cofactors(task)

        def join(task, level, answers):
            return answers[0] if len(answers) == 1 else self._vectors(level, answers)

        return _solve((vectors, function), known, split, join, memo)

    def minimal_vectors(self, function: int) -> int:
        """Give the diagram of the minimal cut vectors of a function.

        From each node the first child leaves its variable in its best class, and each other child
        puts it into that class; the paths that end in `FAILED` are the vectors.
        """
        memo = self._minimal

        def known(node):
            return node if node in (WORKS, FAILED) else memo.get(node)

        def split(node):
            return self.level[node], self.children[node]

        def join(node, level, answers):
            children = []
            for own, better in zip(answers, self.better[level]):
                for one in better:
                    own = self._strip(own, self.children[node][one])
                children.append(own)
            return self._vectors(level, children)

        return _solve(function, known, split, join, memo)
