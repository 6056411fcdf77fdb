"""The places in the picture of a plant: boxes, sockets and cables, in pixels of its own width."""

from collections.abc import Mapping
from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """Place something: left upper corner and size.

    >>> Box(10, 20, 100, 40).middle
    (60.0, 40.0)
    """

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> Point:
        """The middle of the box."""
        return self.x + self.width / 2, self.y + self.height / 2

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.y + self.height

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.width


@dataclass(frozen=True)
class Socket:
    """Place an interface of a rack, or the bare end of a link, which is called as its lamps are."""

    name: str
    rack: str
    box: Box


@dataclass(frozen=True)
class Cable:
    """Draw a cable, a bare joint (without a name) or the feed of parts by a supply.

    `kind` is 'link', 'sync', 'bus' or 'feed'; `label` is the place of the name.
    """

    name: str
    kind: str
    ends: tuple[str, ...]
    lines: tuple[tuple[Point, ...], ...]
    label: Box | None = None


@dataclass(frozen=True, eq=False)
class Layout:
    """Hold the places of everything in the picture of a plant, by designation.

    `between` are switches and repeaters on the ways to the racks, `side` is what hangs on the
    controllers' other bus, `fields` what is wired to a rack, `chips` what has no wires. In a large
    plant `rooms` stand for the racks: each rack, with what hangs on it, lies over the picture and
    is seen when its room is opened.
    """

    width: float
    height: float
    supplies: Mapping[str, Box]
    controllers: Mapping[str, Box]
    between: Mapping[str, Box]
    side: Mapping[str, Box]
    racks: Mapping[str, Box]
    fields: Mapping[str, Box]
    chips: Mapping[str, Box]
    sockets: Mapping[str, Socket]
    cables: tuple[Cable, ...]
    trend: Box | None
    rooms: Mapping[str, Box]

    @property
    def plates(self) -> dict[str, Box]:
        """What stands on the paper: every box that is not inside another."""
        return {**self.supplies, **self.controllers, **self.between, **self.side,
                **(self.rooms or self.racks), **self.chips}

    @property
    def labels(self) -> dict[str, Box]:
        """The places of the names of cables."""
        return {cable.name: cable.label for cable in self.cables if cable.label}

    @property
    def places(self) -> dict[str, Box]:
        """The place of everything that can be touched."""
        return {**self.plates, **self.racks, **self.fields, **self.labels,
                **{name: socket.box for name, socket in self.sockets.items()}}
