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

from collections.abc import Callable, Hashable, Iterator, Sequence

import numpy as np

__all__ = ["FAILED", "WORKS", "Diagram"]

WORKS = 0
FAILED = 1


def _solve(task, shortcut: Callable, split: Callable, join: Callable, memo: dict):
    """Solve a recursion with an explicit stack, however deep it goes.

    `shortcut(task)` gives the answer of an easy task or None, `split(task)` the tasks below it,
    `join(task, answers)` its answer. Answers are kept in `memo`.
    """

    def known(one: Hashable):
        answer = shortcut(one)
        return memo.get(one) if answer is None else answer

    answer = known(task)
    if answer is not None:
        return answer
    waiting = [task]
    while waiting:
        current = waiting[-1]
        if current in memo:
            waiting.pop()
            continue
        below = split(current)
        answers = [known(one) for one in below]
        open_tasks = [one for one, answer in zip(below, answers) if answer is None]
        if open_tasks:
            waiting.extend(open_tasks)
        else:
            memo[current] = join(current, answers)
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

    Examples
    --------
    >>> diagram = Diagram([((), (0,)), ((), (0,))])
    >>> a, b = diagram.node(0, (WORKS, FAILED)), diagram.node(1, (WORKS, FAILED))
    >>> pair = diagram.choose(a, b, WORKS)
    >>> diagram.probability(pair, [(0.9, 0.1), (0.75, 0.25)])
    0.025
    """

    def __init__(self, better: Sequence[Sequence[tuple[int, ...]]]):
        self.better = tuple(better)
        ends = len(self.better)
        self.level = [ends, ends]
        self.children: list[tuple[int, ...]] = [(), ()]
        self._support = [0, 0]
        self._unique: dict[tuple, int] = {}
        self._chosen: dict[tuple, int] = {}
        self._raised: dict[tuple, int] = {}
        self._minimal: dict[int, int] = {}
        self._without: dict[tuple, int] = {}

    def node(self, level: int, children: tuple[int, ...]) -> int:
        """Give the node of a variable with one child per class; equal children need no node."""
        first = children[0]
        if children.count(first) == len(children):
            return first
        return self._store(level, children)

    def _store(self, level: int, children: tuple[int, ...]) -> int:
        key = (level, children)
        found = self._unique.get(key)
        if found is None:
            found = self._unique[key] = len(self.level)
            self.level.append(level)
            self.children.append(children)
            support = 1 << level
            for child in children:
                support |= self._support[child]
            self._support.append(support)
        return found

    def _at(self, function: int, level: int, width: int) -> tuple[int, ...]:
        if self.level[function] == level:
            return self.children[function]
        return (function,) * width

    def _cofactors(self, functions: tuple[int, ...]) -> tuple[int, list[tuple[int, ...]]]:
        level = min(self.level[one] for one in functions)
        width = len(self.better[level])
        return level, list(zip(*(self._at(one, level, width) for one in functions)))

    def choose(self, condition: int, if_failed: int, if_works: int) -> int:
        """Give the function that is `if_failed` where `condition` has failed, else `if_works`."""

        def shortcut(task):
            condition, if_failed, if_works = task
            if condition == FAILED or if_failed == if_works:
                return if_failed
            if condition == WORKS:
                return if_works
            if if_failed == FAILED and if_works == WORKS:
                return condition
            return None

        def split(task):
            return self._cofactors(task)[1]

        def join(task, answers):
            return self.node(min(self.level[one] for one in task), tuple(answers))

        task = (condition, if_failed, if_works)
        return _solve(task, shortcut, split, join, self._chosen)

    def threshold(self, number: int, functions: Sequence[int]) -> int:
        """Give the function that fails where at least `number` of the functions have failed."""
        # row[m]: at least m of the functions from here on; built from the last to the first, so
        # that each step adds above what is there.
        row = [FAILED] + [WORKS] * number
        for place in reversed(range(len(functions))):
            # More than `place` failures cannot have happened before this place.
            for wanted in range(max(1, number - place), number + 1)[::-1]:
                row[wanted] = self.choose(functions[place], row[wanted - 1], row[wanted])
        return row[number]

    def nodes_of(self, function: int) -> list[int]:
        """List the inner nodes of a function, children before parents."""
        seen = {function}
        waiting = [function]
        while waiting:
            for child in self.children[waiting.pop()]:
                if child not in seen:
                    seen.add(child)
                    waiting.append(child)
        return sorted(seen - {WORKS, FAILED})

    def probability(self, function: int, chances: Sequence[Sequence], end: int = FAILED):
        """Give the probability that the function ends in `end`.

        `chances` holds the probability of each class of each variable: numbers, or arrays of one
        shape (then the answer has this shape).
        """
        return self.probabilities(function, chances, end)[function]

    def probabilities(self, function: int, chances: Sequence[Sequence], end: int) -> dict:
        """Give the probability of `end` for each node of a function."""
        zero = chances[0][0] * 0.0 if len(chances) else 0.0
        value = {end: zero + 1.0, FAILED + WORKS - end: zero}
        for node in self.nodes_of(function):
            total = zero
            for chance, child in zip(chances[self.level[node]], self.children[node]):
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
        down: dict[int, float],
        up: dict[int, float],
    ) -> float:
        """Give the probability that `failed` has failed while `works` works.

        `memo` keeps answers between calls with the same chances; `down` and `up` are the
        probabilities of failed and working of all nodes that can occur.
        """

        def shortcut(task):
            failed, works = task
            if failed == works or failed == WORKS or works == FAILED:
                return 0.0
            if works == WORKS:
                return down[failed]
            if failed == FAILED:
                return up[works]
            return None

        def split(task):
            return self._cofactors(task)[1]

        def join(task, answers):
            level = min(self.level[one] for one in task)
            return sum(chance * one for chance, one in zip(chances[level], answers))

        return _solve((failed, works), shortcut, split, join, memo)

    # ------------------------------------------------------------------ minimal cut vectors

    def _worsened(self, level: int, answers: Sequence[int]) -> int:
        """Make a function monotone in one variable: what happens in a class happens in worse."""
        children = []
        for own, better in zip(answers, self.better[level]):
            for one in better:
                own = self.choose(own, FAILED, answers[one])
            children.append(own)
        return self.node(level, tuple(children))

    def _raise(self, failed: int, works: int) -> int:
        """Give the least monotone function above "`failed` has failed while `works` works"."""

        def shortcut(task):
            failed, works = task
            if failed == works or failed == WORKS or works == FAILED:
                return WORKS
            if works == WORKS:
                return failed
            if failed == FAILED:
                return FAILED
            return None

        def split(task):
            return self._cofactors(task)[1]

        def join(task, answers):
            return self._worsened(min(self.level[one] for one in task), answers)

        return _solve((failed, works), shortcut, split, join, self._raised)

    def containing(self, function: int, level: int) -> int:
        """Give the function that fails where a minimal cut vector naming a variable is met.

        A minimal cut vector below the present state names the variable exactly if some state
        that is nowhere worse than the present one fails, and works once the variable is put to
        its best class.
        """
        bit = 1 << level
        memo: dict[int, int] = {}

        def shortcut(node):
            return None if self._support[node] & bit else WORKS

        def split(node):
            return () if self.level[node] == level else self.children[node]

        def join(node, answers):
            if self.level[node] < level:
                return self._worsened(self.level[node], answers)
            best = self.children[node][0]
            return self.node(level, tuple(self._raise(one, best) for one in self.children[node]))

        return _solve(function, shortcut, split, join, memo)

    # In the diagrams of minimal cut vectors a path that misses a variable has it in class 0, so a
    # node goes away when all its children but the first are empty.

    def _vectors(self, level: int, children: Sequence[int]) -> int:
        if not any(children[1:]):
            return children[0]
        return self._store(level, tuple(children))

    def _strip(self, vectors: int, function: int) -> int:
        """Leave out the vectors with which the function has failed already."""

        def shortcut(task):
            vectors, function = task
            if vectors == WORKS or function == FAILED:
                return WORKS
            if function == WORKS or vectors == FAILED:
                return vectors
            return None

        def split(task):
            vectors, function = task
            level = self.level[vectors]
            if self.level[function] < level:
                return [(vectors, self.children[function][0])]
            of_function = self._at(function, level, len(self.better[level]))
            return list(zip(self.children[vectors], of_function))

        def join(task, answers):
            vectors, function = task
            if self.level[function] < self.level[vectors]:
                return answers[0]
            return self._vectors(self.level[vectors], answers)

        return _solve((vectors, function), shortcut, split, join, self._without)

    def _minimal_vectors(self, function: int) -> int:
        def shortcut(node):
            return node if node in (WORKS, FAILED) else None

        def split(node):
            return self.children[node]

        def join(node, answers):
            children = []
            for own, better in zip(answers, self.better[self.level[node]]):
                for one in better:
                    own = self._strip(own, self.children[node][one])
                children.append(own)
            return self._vectors(self.level[node], children)

        return _solve(function, shortcut, split, join, self._minimal)

    def cut_vectors(self, function: int, largest: int) -> Iterator[tuple[tuple[int, int], ...]]:
        """Go through the minimal cut vectors of at most `largest` members.

        Each is a tuple of (level, class), without the variables that are in their best class.
        """
        root = self._minimal_vectors(function)
        if root == WORKS:
            return
        # The fewest members below a node, so that no path is begun that must grow too long.
        fewest = {WORKS: np.inf, FAILED: 0}
        for node in self.nodes_of(root):
            best, *others = (fewest[child] for child in self.children[node])
            fewest[node] = min(best, 1 + min(others))
        waiting = [(root, ())]
        while waiting:
            node, members = waiting.pop()
            if node == FAILED:
                yield members
                continue
            for number, child in enumerate(self.children[node]):
                longer = (*members, (self.level[node], number)) if number else members
                if len(longer) + fewest[child] <= largest:
                    waiting.append((child, longer))
