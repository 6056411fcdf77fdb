"""The places in the picture of a plant: boxes, sockets, strands and wires, in grid units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["Box", "Layout", "Socket", "Strand", "Wire"]

WIDTH = 900.0
MARGIN = 8.0
SIDE = 216.0
CONTROLLER_HEIGHT = 168.0
SUPPLY_HEIGHT = 44.0
SOCKET_HEIGHT = 64.0
RACK_HEIGHT = 124.0
RACKS_IN_ROW = 4
RIBBON = 25.0
CHIP_HEIGHT = 30.0
FIELD_HEIGHT = 24.0
FIELDS_IN_ROW = 6
FIELD_GAP = 3.0
SIDE_GAP = 28.0
LAMP_ROW = 19.0
SIDE_HEAD = 31.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """Place one part: left upper corner and size.

    Parameters
    ----------
    x, y, width, height : float
        In grid units; the sizes are > 0.

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
    """Place the end of a link on a rack.

    Parameters
    ----------
    rack, controller : str
        Designations.
    letter : str
        'A' for the link of the first controller, 'B' for that of the second.
    interface : str or None
        Designation of the interface, if the plant has one there.
    box : Box
        Its place.

    >>> Socket("KF10", "KF1", "A", "KF10A", Box(0, 0, 90, 40)).letter
    'A'
    """

    rack: str
    controller: str
    letter: str
    interface: str | None
    box: Box


@dataclass(frozen=True)
class Strand:
    """Draw the way from a controller to a rack.

    Parameters
    ----------
    rack, controller : str
        Designations.
    parts : tuple of str
        Parts of the way, from the controller on.
    cables : tuple of str
        Those of them that are cables.
    points : tuple of (x, y)
        The line, from the controller down to the socket.

    >>> Strand("KF10", "KF1", ("WF1",), ("WF1",), ((0, 0), (0, 9))).cables
    ('WF1',)
    """

    rack: str
    controller: str
    parts: tuple[str, ...]
    cables: tuple[str, ...]
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Wire:
    """Draw a cable, or the feed of one part by another, that is no link.

    Parameters
    ----------
    name : str
        Designation of the cable, or of the supply that feeds.
    kind : {'sync', 'bus', 'feed'}
        What it is.
    lines : tuple of tuple of (x, y)
        One line for each of its ends.
    label : (x, y)
        Where its designation ends ('bus', beside a plate), begins or has its middle ('sync').
    ends : tuple of str
        The parts that it joins.

    >>> Wire("WF9", "sync", (((0, 0), (9, 0)),), (4, 0), ("KF1", "KF2")).kind
    'sync'
    """

    name: str
    kind: str
    lines: tuple[tuple[Point, ...], ...]
    label: Point
    ends: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Layout:
    """Hold the places of everything in the picture of a plant.

    Parameters
    ----------
    width, height : float
        Size of the picture, in grid units.
    controllers, supplies, racks, fields, side, chips : mapping of str to Box
        Places by designation: of controllers, of what feeds them, of racks, of what is wired to
        a rack in the field (inside the rack's plate), of what hangs on the controllers' other
        bus, and of parts without wires.
    wires : tuple of Wire
        What joins them.

    >>> from lessons.pictures.layout import layout_of
    >>> from labkit.plant.plant import load_plant
    >>> layout = layout_of(load_plant())
    >>> sorted(layout.controllers), len(layout.strands)
    (['KF1', 'KF2'], 6)
    """

    width: float
    height: float
    controllers: Mapping[str, Box]
    supplies: Mapping[str, Box]
    racks: Mapping[str, Box]
    fields: Mapping[str, Box]
    side: Mapping[str, Box]
    chips: Mapping[str, Box]
    sockets: tuple[Socket, ...]
    strands: tuple[Strand, ...]
    wires: tuple[Wire, ...]

    @property
    def boxes(self) -> dict[str, Box]:
        """All parts that have a plate of their own."""
        return {**self.supplies, **self.controllers, **self.side, **self.racks, **self.fields,
                **self.chips}
