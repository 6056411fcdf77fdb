"""Find the modules of a block: gates whose inside meets the rest of the block nowhere else.

A module can be worked out alone and then stands in what is around it as one part. Most plants are
nested modules with a few shared supplies, so that what has to be looked at together stays small,
and the work grows as the plant does and not as its square.

References
----------
Y. Dutuit, A. Rauzy, "A linear-time algorithm to find modules of fault trees", IEEE Transactions
on Reliability 45 (1996) 422-425.
"""

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass

from labkit.availability.diagram import FAILED, WORKS
from labkit.availability.variable_order import reading_order


@dataclass(frozen=True)
class Module:
    """Describe one module by its gates, with what it is made of in the order for its diagram.

    Attributes
    ----------
    sources : tuple of (str or int)
        Names of parts and chains, and the numbers of modules that stand before this one.
    leaves : tuple of (int, hashable)
        (place in `sources`, condition asked of it; None for parts and modules).
    gates : tuple of (int, tuple of int)
        (failures that stop the gate, members), inner before outer. Members from 0 on are leaves,
        -1 is the first gate, -2 the second.
    """

    sources: tuple[str | int, ...]
    leaves: tuple[tuple[int, Hashable], ...]
    gates: tuple[tuple[int, tuple[int, ...]], ...]

    @property
    def plain(self) -> bool:
        """Whether it is one gate in which everything stands once."""
        return len(self.gates) == 1 and len(self.gates[0][1]) == len(self.sources)


def inside(block) -> list:
    """List the different blocks inside a block and itself, inner before outer."""
    return _inner_first(block, lambda one: reversed(one.blocks), id)


def _inner_first(root, below: Callable, key: Callable) -> list:
    """List what is reached from a root, each once by its key, what is below before what is above."""
    order: list = []
    seen: set = set()
    waiting = [(root, False)]
    while waiting:
        one, opened = waiting.pop()
        if opened:
            order.append(one)
        elif key(one) not in seen:
            seen.add(key(one))
            waiting.append((one, True))
            waiting.extend((inner, False) for inner in below(one))
    return order


def modules_of(block) -> list[Module]:
    """List the modules of a block, inner before outer; the last is the block itself."""
    return _Search(block).modules


class _Search:
    """Read a block as numbered nodes, alike ones once, and cut it into modules.

    A node is (failures that stop it, members) for a gate and (name, condition) for a leaf; the
    first two are `WORKS` and `FAILED`.
    """

    def __init__(self, block):
        self.nodes: list = [None, None]
        self.known: dict[Hashable, int] = {}
        self.gates: dict[int, tuple[int, ...]] = {}
        self.modules: list[Module] = []
        root = self._flattened(self._read(block))
        if root in (WORKS, FAILED):
            self.modules.append(Module((), (), ((1 - root, ()),)))
        elif root not in self.gates:
            name, condition = self.nodes[root]
            self.modules.append(Module((name,), ((0, condition),), ((1, (0,)),)))
        else:
            self._visit(root)
            self._cut()

    # ------------------------------------------------------------------ reading

    def _numbered(self, node: tuple, key: Hashable) -> int:
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = len(self.nodes)
            self.nodes.append(node)
        return found

    def _gate(self, failures: int, members: Iterable[int]) -> int:
        """Give the gate, without what is certain and without what says nothing new."""
        members = [one for one in members if one != WORKS]
        failures -= members.count(FAILED)
        members = tuple(one for one in members if one != FAILED)
        if failures <= 0:
            return FAILED
        if failures > len(members):
            return WORKS
        if failures in (1, len(members)):
            every = failures > 1
            members = tuple(dict.fromkeys(members))
            failures = len(members) if every else 1
        if len(members) == 1:
            return members[0]
        gate = self._numbered((failures, members), (failures, tuple(sorted(members))))
        self.gates.setdefault(gate, members)
        return gate

    def _read(self, block) -> int:
        made: dict[int, int] = {}
        for one in inside(block):
            if one.blocks:
                inner = [made[id(each)] for each in one.blocks]
                made[id(one)] = self._gate(len(inner) - one.needed + 1, inner)
            elif one.parts:
                (name,) = one.parts
                made[id(one)] = self._numbered((name, one._condition), (name, one._condition))
            else:
                made[id(one)] = WORKS if one.works else FAILED
        return made[id(block)]

    def _kind(self, gate: int) -> str:
        failures, members = self.nodes[gate]
        return "any" if failures == 1 else "all" if failures == len(members) else "vote"

    def _flattened(self, root: int) -> int:
        """Take a gate into the one around it where both are of a kind and nobody else needs it."""
        used = dict.fromkeys(self.gates, 0)
        wanted = {root}
        for gate in sorted(self.gates, reverse=True):
            if gate in wanted:
                wanted.update(self.gates[gate])
                for one in self.gates[gate]:
                    if one in used:
                        used[one] += 1
        made = {}
        for gate in [one for one in self.gates if one in wanted]:
            kind, members = self._kind(gate), []
            for one in self.gates[gate]:
                alike = kind != "vote" and used.get(one) == 1 and self._kind(one) == kind
                new = made.get(one, one)
                members.extend(self.gates[new] if alike else [new])
            failures = len(members) if kind == "all" else self.nodes[gate][0]
            made[gate] = self._gate(failures, members)
        return made.get(root, root)

    # ------------------------------------------------------------------ where modules are

    def _visit(self, root: int) -> None:
        """Go through the nodes, and note which are left before anything inside is met again."""
        first: dict[Hashable, int] = {}
        last: dict[Hashable, int] = {}
        left: dict[int, int] = {}  # negative where the gate is a module
        self.order: list[int] = []
        waiting = [(root, False)]
        date = 0
        while waiting:
            node, leaving = waiting.pop()
            date += 1
            key = self._key(node)
            last[key] = date
            if leaving:
                left[node] = date
                self.order.append(node)
            elif key not in first:
                first[key] = date
                if node in self.gates:
                    waiting.append((node, True))
                    waiting.extend((one, False) for one in reversed(self.gates[node]))
        early, late = dict(first), dict(last)
        for gate in self.order:
            keys = [self._key(one) for one in self.gates[gate]]
            earliest, latest = min(early[one] for one in keys), max(late[one] for one in keys)
            if first[gate] < earliest and latest < left[gate]:
                left[gate] = -left[gate]
            early[gate], late[gate] = min(first[gate], earliest), max(last[gate], latest)
        self.closed = {gate for gate, date in left.items() if date < 0}
        # What is closed and met once shares nothing with anything.
        self.private = {one for one in self.closed if last[one] == -left[one]}
        self.single = {key for key in first if key not in left and first[key] == last[key]}

    def _key(self, node: int) -> Hashable:
        return node if node in self.gates else self.nodes[node][0]

    def _alone(self, node: int) -> bool:
        return node in self.private or self._key(node) in self.single

    # ------------------------------------------------------------------ cutting

    def _cut(self) -> None:
        self.number: dict[int, int] = {}
        for gate in self.order:
            kind = self._kind(gate)
            alone = [one for one in self.gates[gate] if self._alone(one)]
            tangled = [one for one in self.gates[gate] if not self._alone(one)]
            if kind != "vote" and tangled and gate in self.closed:
                groups = self._groups(tangled)
                if alone or len(groups) > 1:
                    joined = [self._module(self._part_of(gate, group)) for group in groups]
                    self.gates[gate] = (*alone, *joined)
            elif kind != "vote" and len(alone) > 1 and tangled:
                self.gates[gate] = (self._module(self._part_of(gate, alone)), *tangled)
            self.nodes[gate] = (
                len(self.gates[gate]) if kind == "all" else self.nodes[gate][0],
                self.gates[gate],
            )
            if gate in self.closed:
                self._module(gate)

    def _part_of(self, gate: int, members: Sequence[int]) -> int:
        """Make a gate of the same kind of some of its members."""
        new = len(self.nodes)
        self.nodes.append((1 if self._kind(gate) == "any" else len(members), tuple(members)))
        self.gates[new] = tuple(members)
        return new

    def _within(self, gate: int) -> list[int]:
        """List the gates in a gate, itself last, without those inside of other modules."""
        def own(nodes: Iterable[int]) -> list[int]:
            return [one for one in nodes if one in self.gates and one not in self.number]

        return _inner_first(gate, lambda one: own(self.gates[one]), int) if own([gate]) else []

    def _groups(self, members: Sequence[int]) -> list[list[int]]:
        """Part the members of a module so that those which share anything stand together."""
        above: dict[Hashable, Hashable] = {}

        def top(key: Hashable) -> Hashable:
            while above.setdefault(key, key) != key:
                above[key] = key = above[above[key]]
            return key

        for member in members:
            for gate in self._within(member):
                for one in self.gates[gate]:
                    above[top(self._key(one))] = top(self._key(member))
        groups: dict[Hashable, list[int]] = {}
        for member in members:
            groups.setdefault(top(self._key(member)), []).append(member)
        return list(groups.values())

    def _module(self, gate: int) -> int:
        """Note a gate as a module; give the gate."""
        within = self._within(gate)
        numbers = {one: -1 - place for place, one in enumerate(within)}
        members = {one: self.gates[one] for one in within}
        sources: dict[int, dict] = {}
        leaves: dict[int, int] = {}
        for one in within:
            found: dict = {}
            for member in members[one]:
                if member not in numbers and member not in leaves:
                    leaves[member] = len(leaves)
                    sources[member] = {self.number.get(member, self._key(member)): None}
                found.update(sources[member])
            sources[one] = found
        order = reading_order(gate, members, sources)
        known = leaves | numbers
        place = {source: number for number, source in enumerate(order)}
        self.number[gate] = len(self.modules)
        self.modules.append(Module(
            sources=tuple(order),
            leaves=tuple(
                (place[source], None if leaf in self.number else self.nodes[leaf][1])
                for leaf in leaves for source in sources[leaf]
            ),
            gates=tuple(
                (self.nodes[one][0], tuple(map(known.__getitem__, members[one])))
                for one in within
            ),
        ))
        return gate
