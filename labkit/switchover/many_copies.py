"""Copies without end of one thing, each at a fraction of the time that `copy.deepcopy` takes."""

from collections.abc import Iterator, Mapping
from io import BytesIO
from pickle import HIGHEST_PROTOCOL, Pickler, Unpickler


class _Storing(Pickler):
    def __init__(self, file: BytesIO, shared: Mapping[int, object]):
        super().__init__(file, HIGHEST_PROTOCOL)
        self.shared = shared

    def persistent_id(self, each: object) -> int | None:
        return id(each) if id(each) in self.shared else None


class _Restoring(Unpickler):
    def __init__(self, file: BytesIO, shared: Mapping[int, object]):
        super().__init__(file)
        self.shared = shared

    def persistent_load(self, key: int) -> object:
        return self.shared[key]


def copies_of(thing: object, shared: Mapping[int, object]) -> Iterator:
    """Yield copies of a thing as it is now; what is `shared`, by its id, is held by all of them.

    >>> inside = [1]
    >>> copies = copies_of([inside, [2]], {id(inside): inside})
    >>> one, other = next(copies), next(copies)
    >>> one == other, one[0] is other[0], one[1] is other[1]
    (True, True, False)
    """
    file = BytesIO()
    _Storing(file, shared).dump(thing)
    while True:
        file.seek(0)
        yield _Restoring(file, shared).load()
