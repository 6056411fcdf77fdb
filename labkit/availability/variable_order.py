"""The order of variables in which the decision diagram of a block stays small.

A diagram must remember what it has read of every part that is needed again further down. So the
blocks of a gate are taken in an order in which few shared parts are open at a time, and each is
read from left to right. No order is good for every block, and finding the best is hard (NP-hard);
this one is right for what plants look like: many small groups, some parts shared among them.

References
----------
B. Bollig, I. Wegener, "Improving the variable ordering of OBDDs is NP-complete", IEEE
Transactions on Computers 45 (1996) 993-1002.
"""

from collections.abc import Collection, Hashable, Mapping, Sequence

# More beginnings find better orders and cost more time; many blocks get fewer of them.
MOST_BEGINNINGS = 12
WORK = 20_000


def few_open(members: Sequence[Collection]) -> list[int]:
    """Give an order of groups in which few shared members are open at a time.

    A member is open from the first group that contains it to the last. From several beginnings,
    the next group is always the one that opens fewest and closes most; the order with the
    smallest sum of 2 ** (open members) wins.

    >>> few_open([{"a", "b"}, {"c", "d"}, {"b", "x"}, {"d", "x"}])
    [0, 2, 3, 1]
    """
    count = len(members)
    groups_of: dict[Hashable, list[int]] = {}
    for group, names in enumerate(members):
        for name in names:
            groups_of.setdefault(name, []).append(group)
    # What stands in every group is open throughout, in any order.
    shared = {name: groups for name, groups in groups_of.items() if 1 < len(groups) < count}
    if not shared:
        return list(range(count))
    needs = [[name for name in names if name in shared] for names in members]
    beginnings = max(1, min(MOST_BEGINNINGS, WORK // count**2))
    orders = [
        _from(beginning, needs, shared) for beginning in range(0, count, -(-count // beginnings))
    ]
    return min(orders, key=lambda found: found[0])[1]


def _from(beginning: int, needs: list[list[str]], shared: dict) -> tuple[int, list[int]]:
    left = {name: len(groups) for name, groups in shared.items()}
    is_open: set = set()
    todo = set(range(len(needs)))
    order: list[int] = []
    open_then: list[int] = []

    def opens(group: int) -> tuple[int, int]:
        opened = sum(name not in is_open for name in needs[group])
        return opened - sum(left[name] == 1 for name in needs[group]), group

    group = beginning
    while True:
        order.append(group)
        todo.remove(group)
        is_open.update(needs[group])
        open_then.append(len(is_open))
        for name in needs[group]:
            left[name] -= 1
            if not left[name]:
                is_open.remove(name)
        if not todo:
            return sum(2**count for count in open_then), order
        near = {one for name in is_open for one in shared[name]} & todo
        group = min(near or todo, key=opens)


def reading_order(
    root: Hashable, members: Mapping[Hashable, Sequence], sources: Mapping[Hashable, Collection]
) -> list:
    """Give the sources of a gate in the order for its diagram.

    `members` lists for each gate what it joins, `sources` for each gate and each leaf what it is
    made of.

    >>> leaves = {"f": ["a"], "g": ["b"], "h": ["c"]}
    >>> reading_order("top", {"top": ["f", "g", "h", "f"]}, leaves | {"top": ["a", "b", "c"]})
    ['a', 'b', 'c']
    """
    order: dict = {}
    seen: set = set()
    waiting = [root]
    while waiting:
        one = waiting.pop()
        if one not in members:
            order.update(dict.fromkeys(sources[one]))
        elif one not in seen:
            seen.add(one)
            inner = list(members[one])
            if sum(len(sources[each]) for each in inner) > len(sources[one]):
                inner = [inner[place] for place in few_open([sources[each] for each in inner])]
            waiting.extend(reversed(inner))
    return list(order)
