"""Where the parts and wires of a plant stand in its picture, found from the wiring alone.

From top to bottom: supplies, controllers with the sync cable between them, one ribbon of link
strands for each controller, racks with a socket for each link, and whatever has no wires. To the
right of the controllers stands what hangs on their other bus: repeaters, panels.

Conditions: any number of controllers and racks; a strand is drawn for each way from a controller
to a rack, even where ways share a cable. Nothing depends on how parts are designated.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from labkit.plant import Plant
from labkit.plantdata import PlantPart
from labkit.svg import text_width

__all__ = ["Box", "Layout", "Socket", "Strand", "Wire", "layout_of"]

WIDTH = 900.0
MARGIN = 8.0
SIDE = 196.0
CONTROLLER_HEIGHT = 168.0
SUPPLY_HEIGHT = 44.0
SOCKET_HEIGHT = 64.0
RACK_HEIGHT = 124.0
RACKS_IN_ROW = 4
RIBBON = 25.0
CHIP_HEIGHT = 30.0
FIELD_HEIGHT = 24.0
FIELDS_IN_ROW = 6
SIDE_GAP = 30.0
SIDE_HEIGHTS = {"repeater": 104.0}
SIDE_HEIGHT = 52.0

Point = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """Place one part: left upper corner and size.

    Parameters
    ----------
    x, y, width, height : float
        In grid units; the sizes are > 0.

    Examples
    --------
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

    Examples
    --------
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

    Examples
    --------
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
        Where its designation stands.
    ends : tuple of str
        The parts that it joins.

    Examples
    --------
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
    sockets : tuple of Socket
    strands : tuple of Strand
    wires : tuple of Wire
        What joins them.

    Examples
    --------
    >>> from labkit.plant import load_plant
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


def _spread(wanted: list[float], width: float, gap: float, low: float, high: float) -> list[float]:
    """Return left edges near the wanted middles, in this order and without overlap."""
    edges: list[float] = []
    for middle in wanted:
        edges.append(max(middle - width / 2, edges[-1] + width + gap if edges else low))
    limit = high - width
    for i in reversed(range(len(edges))):
        edges[i] = min(edges[i], limit)
        limit = edges[i] - width - gap
    return edges


def _supplies(plant: Plant, controllers: Mapping[str, Box], right: float) -> dict[str, Box]:
    """Place what feeds the controllers in one row, each feeder beside what it feeds."""
    feeders = {name for part in plant.parts.values() for name in part.fed_by}
    names = [n for n, p in plant.parts.items() if n in feeders or p.kind in ("supply", "ups")]
    names = [n for n in names if n not in controllers]
    if not names:
        return {}
    middles = [box.middle[0] for box in controllers.values()] or [right / 2]

    def wanted(name: str) -> float:
        fed = [c.middle[0] for n, c in controllers.items() if name in plant.parts[n].fed_by]
        return sum(fed) / len(fed) if fed else sum(middles) / len(middles)

    last = [n for n in names if any(n in plant.parts[c].fed_by for c in controllers)]
    last.sort(key=wanted)
    order: list[str] = []
    for i, name in enumerate(last):
        behind = [n for n in names if n in plant.parts[name].fed_by and n not in [*order, *last]]
        order += [*behind, name] if 2 * i < len(last) else [name, *behind]
    order += [n for n in names if n not in order]
    gap = 22.0
    width = min(204.0, (right - MARGIN - gap * (len(order) - 1)) / len(order))
    aims = [wanted(n) for n in order]
    middle = sum(aims) / len(aims)
    step = width + gap
    aims = [middle + (i - (len(order) - 1) / 2) * step if len(last) != len(order) else aim
            for i, aim in enumerate(aims)]
    edges = _spread(aims, width, gap, MARGIN, right)
    return {n: Box(x, MARGIN, width, SUPPLY_HEIGHT) for n, x in zip(order, edges)}


def _beyond(plant: Plant, placed: Iterable[str]) -> list[str]:
    """Return the parts that hang on the controllers' other cables, nearest first."""
    taken = {name for way in plant.lines().values() for name in way} | set(placed)
    order: list[str] = []
    front = list(plant.controllers)
    while front:
        after: list[str] = []
        for name in front:
            for other in plant.neighbours[name]:
                if other not in taken and plant.parts[other].kind not in ("rack", "interface"):
                    taken.add(other)
                    after.append(other)
        order += [name for name in after if plant.parts[name].kind != "cable"]
        front = after
    return order


def _field_parts(plant: Plant) -> dict[str, list[str]]:
    """Return for each rack what is wired to it in the field: sensors, pumps and the like."""
    return {
        rack: [n for n in plant.neighbours[rack]
               if plant.parts[n].kind not in ("cable", "interface", "controller", "rack")]
        for rack in plant.racks
    }


def _rack_columns(count: int) -> int:
    """Return how many racks stand beside each other."""
    rows = max(1, -(-count // RACKS_IN_ROW))
    return max(1, -(-count // rows))


def _rack_width(count: int) -> float:
    """Return the width of a rack's plate; in several rows it leaves room for strands."""
    column = (WIDTH - 2 * MARGIN) / _rack_columns(count)
    return min(column - (26 if count > RACKS_IN_ROW else 16), 300.0)


def _field_columns(names: list[str], width: float) -> int:
    """Return how many designations stand beside each other on a plate."""
    if not names:
        return 1
    widest = max(text_width(name, 14, bold=True) for name in names) + 15
    return max(1, min(len(names), FIELDS_IN_ROW, int((width - 8) // widest)))


def _rack_rows(racks: tuple[str, ...], top: float, chips_gap: float,
               height: float) -> dict[str, Box]:
    """Place the racks in rows of at most four."""
    if not racks:
        return {}
    columns = _rack_columns(len(racks))
    column = (WIDTH - 2 * MARGIN) / columns
    width = _rack_width(len(racks))
    boxes = {}
    for i, rack in enumerate(racks):
        row, place = divmod(i, columns)
        x = MARGIN + column * place + (column - width) / 2
        boxes[rack] = Box(x, top + row * (height + chips_gap), width, height)
    return boxes


def _fields(fields: Mapping[str, list[str]], racks: Mapping[str, Box]) -> dict[str, Box]:
    """Place what is wired to a rack in rows at the bottom of its plate."""
    boxes = {}
    for rack, box in racks.items():
        names = fields[rack]
        columns = _field_columns(names, box.width)
        for i, name in enumerate(names):
            row, place = divmod(i, columns)
            width = (box.width - 12 - 4 * (columns - 1)) / columns
            boxes[name] = Box(box.x + 6 + place * (width + 4),
                              box.y + RACK_HEIGHT + row * (FIELD_HEIGHT + 4),
                              width, FIELD_HEIGHT)
    return boxes


def _sockets(plant: Plant, racks: Mapping[str, Box]) -> list[Socket]:
    lines = plant.lines()
    sockets = []
    for rack, box in racks.items():
        ends = [c for c in plant.controllers if (c, rack) in lines]
        width = (box.width - 6 * (len(ends) + 1)) / max(len(ends), 1)
        for i, controller in enumerate(ends):
            interfaces = [
                n for n in lines[controller, rack] if plant.parts[n].kind == "interface"
            ]
            sockets.append(
                Socket(
                    rack,
                    controller,
                    chr(ord("A") + plant.controllers.index(controller)),
                    interfaces[-1] if interfaces else None,
                    Box(box.x + 6 + i * (width + 6), box.y + 6, width, SOCKET_HEIGHT),
                )
            )
    return sockets


def _strands(plant: Plant, controllers: Mapping[str, Box], racks: Mapping[str, Box],
             sockets: list[Socket], top: float) -> list[Strand]:
    """Lead a ribbon from each controller to its sockets, strands of one ribbon uncrossed."""
    lines = plant.lines()
    first_row = min((box.y for box in racks.values()), default=0.0)
    strands = []
    for level, (controller, box) in enumerate(controllers.items()):
        ends = sorted((s for s in sockets if s.controller == controller),
                      key=lambda s: (s.box.middle[0], -s.box.y))
        if not ends:
            continue
        apart = min(8.0, (RIBBON - 8) / len(ends))
        exits = [box.middle[0] + (i - (len(ends) - 1) / 2) * apart for i in range(len(ends))]
        far = sorted(range(len(ends)), key=lambda i: -abs(ends[i].box.middle[0] - exits[i]))
        for lane, i in enumerate(far):
            end, start = ends[i].box, exits[i]
            y = top + level * RIBBON + lane * apart
            target = end.middle[0] - end.width * 0.32
            points: list[Point] = [(start, box.bottom), (start, y)]
            rack = racks[ends[i].rack]
            if rack.y > first_row:
                row = round((rack.y - first_row) / rack.height)
                inner = level == 0
                aside = rack.x - 5 - 4 * row if inner else rack.right + 5 + 4 * row
                turn = rack.y - 16 - 6 * level
                points += [(aside, y), (aside, turn), (target, turn)]
            else:
                points.append((target, y))
            points.append((target, rack.y))
            way = lines[controller, ends[i].rack]
            cables = tuple(n for n in way if plant.parts[n].kind == "cable")
            strands.append(Strand(ends[i].rack, controller, way, cables, tuple(points)))
    return strands


def _feeds(plant: Plant, boxes: Mapping[str, Box], supplies: Mapping[str, Box]) -> list[Wire]:
    wires = []
    for name, box in supplies.items():
        fed = [n for n, p in plant.parts.items() if name in p.fed_by and n in boxes]
        lines: list[tuple[Point, ...]] = []
        for other in fed:
            end = boxes[other]
            if other in supplies:
                left, right = (box, end) if box.x < end.x else (end, box)
                if any(left.right < each.x < right.x - 1 for each in supplies.values()):
                    turn = box.bottom + 7
                    lines.append(((box.middle[0], box.bottom), (box.middle[0], turn),
                                  (end.middle[0] - 12, turn), (end.middle[0] - 12, end.bottom)))
                else:
                    lines.append(((left.right, left.middle[1]), (right.x, right.middle[1])))
            else:
                feeders = [f for f in plant.parts[other].fed_by if f in supplies]
                into = end.middle[0] + 18 * (feeders.index(name) - (len(feeders) - 1) / 2)
                turn = box.bottom + 10
                lines.append(((box.middle[0], box.bottom), (box.middle[0], turn),
                              (into, turn), (into, end.y)))
        if lines:
            wires.append(Wire(name, "feed", tuple(lines), box.middle, (name, *fed)))
    return wires


def _bus_wire(name: str, part: PlantPart, controllers: Mapping[str, Box],
              side: Mapping[str, Box], lane: float) -> Wire | None:
    """Lead a cable that is no link: over the controllers, or down the side."""
    ends = [n for n in part.joins if n in controllers or n in side]
    at = [n for n in ends if n in controllers]
    beside = sorted((n for n in ends if n in side), key=lambda n: side[n].y)
    lines: list[tuple[Point, ...]] = []
    label = None
    if at and beside:
        target = side[beside[0]]
        entry = (target.middle[0], target.y)
        for controller in at:
            start = controllers[controller].right - 26
            lines.append(((start, controllers[controller].y), (start, lane),
                          (entry[0], lane), entry))
        label = (max(controllers[c].right for c in at) + 10, lane - 7)
    for upper, lower in pairwise(beside):
        x = side[upper].middle[0]
        lines.append(((x, side[upper].bottom), (x, side[lower].y)))
        label = label or (x + 14, (side[upper].bottom + side[lower].y) / 2 + 5)
    return Wire(name, "bus", tuple(lines), label, tuple(ends)) if label else None


def layout_of(plant: Plant) -> Layout:
    """Find the places of all parts and wires of a plant.

    Parameters
    ----------
    plant : Plant
        Any plant; parts of which the picture knows nothing stand in a row at the bottom.

    Returns
    -------
    Layout

    Examples
    --------
    >>> from labkit.plant import load_plant
    >>> round(layout_of(load_plant()).boxes["KF10"].width)
    279
    """
    names = plant.controllers
    beyond = _beyond(plant, names)
    feeding = {f for part in plant.parts.values() for f in part.fed_by}
    powered = any(n in feeding or p.kind in ("supply", "ups") for n, p in plant.parts.items())
    right = WIDTH - MARGIN - (SIDE + 34 if beyond else 0)

    top = MARGIN + (SUPPLY_HEIGHT + 36 if powered else 30 if beyond else 0)
    count = max(len(names), 1)
    between = 118.0 if count == 2 else 40.0
    width = min(272.0, (right - MARGIN - between * (count - 1)) / count)
    start = MARGIN + (right - MARGIN - width * count - between * (count - 1)) / 2
    controllers = {
        name: Box(start + i * (width + between), top, width, CONTROLLER_HEIGHT)
        for i, name in enumerate(names)
    }
    supplies = _supplies(plant, controllers, WIDTH - MARGIN)

    side: dict[str, Box] = {}
    y = top
    for name in beyond:
        height = SIDE_HEIGHTS.get(plant.parts[name].kind, SIDE_HEIGHT)
        side[name] = Box(WIDTH - MARGIN - SIDE, y, SIDE, height)
        y += height + SIDE_GAP
    lowest = max(top + CONTROLLER_HEIGHT, y - SIDE_GAP if beyond else 0.0)

    ribbons = max(top + CONTROLLER_HEIGHT + 22, lowest + 12)
    row_top = ribbons + RIBBON * max(len(names), 1) + 25
    fields = _field_parts(plant)
    width = _rack_width(len(plant.racks))
    field_rows = max((-(-len(each) // _field_columns(each, width)) for each in fields.values()),
                     default=0)
    racks = _rack_rows(plant.racks, row_top, 22 + 12 * len(names),
                       RACK_HEIGHT + field_rows * (FIELD_HEIGHT + 4) + 2)
    field_boxes = _fields(fields, racks)
    sockets = _sockets(plant, racks)
    strands = _strands(plant, controllers, racks, sockets, ribbons)

    wires = _feeds(plant, {**supplies, **controllers, **side, **racks}, supplies)
    lane = top - 12
    linked = {name for strand in strands for name in strand.parts}
    for name, part in plant.parts.items():
        if part.kind != "cable" or name in linked:
            continue
        ends = [n for n in part.joins if n in controllers]
        if len(ends) >= 2 and set(part.joins) <= set(controllers):
            count_before = sum(w.kind == "sync" for w in wires)
            level = top + 46 + 34 * count_before
            pairs = list(pairwise(sorted(ends, key=lambda n: controllers[n].x)))
            lines = tuple(((controllers[a].right, level), (controllers[b].x, level))
                          for a, b in pairs)
            middle = (lines[0][0][0] + lines[0][1][0]) / 2
            wires.append(Wire(name, "sync", lines, (middle, level - 9), tuple(ends)))
            continue
        wire = _bus_wire(name, part, controllers, side, lane)
        if wire:
            wires.append(wire)
            lane -= 9 if any(end in controllers for end in wire.ends) else 0

    drawn = {*supplies, *controllers, *side, *racks, *field_boxes, *linked, *(w.name for w in wires)}
    drawn |= {s.interface for s in sockets}
    rest = [name for name in plant.parts if name not in drawn]
    bottom = max([lowest, *(box.bottom for box in racks.values())])
    columns = 3
    column = (WIDTH - 2 * MARGIN) / columns
    chips = {
        name: Box(MARGIN + (i % columns) * column + 4,
                  bottom + 14 + (i // columns) * (CHIP_HEIGHT + 8), column - 8, CHIP_HEIGHT)
        for i, name in enumerate(rest)
    }
    bottom = max([bottom, *(box.bottom for box in chips.values())])
    return Layout(WIDTH, bottom + MARGIN, controllers, supplies, racks, field_boxes, side,
                  chips,                  tuple(sockets), tuple(strands), tuple(wires))
