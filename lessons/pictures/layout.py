"""Where the parts and wires of a plant stand in its picture, found from the wiring alone.

From top to bottom: supplies, controllers with the sync cable between them, one ribbon of link
strands for each controller, racks with a socket for each link, and whatever has no wires. To the
right of the controllers stands what hangs on their other bus: repeaters, panels.

Conditions: any number of controllers and racks; a strand is drawn for each way from a controller
to a rack, even where ways share a cable. Nothing depends on how parts are designated.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from labkit.plant.plant import Plant
from lessons.pictures import routes
from lessons.pictures.geometry import (
    CHIP_HEIGHT,
    CONTROLLER_HEIGHT,
    FIELD_GAP,
    FIELD_HEIGHT,
    FIELDS_IN_ROW,
    LAMP_ROW,
    MARGIN,
    RACK_HEIGHT,
    RACKS_IN_ROW,
    RIBBON,
    SIDE,
    SIDE_GAP,
    SIDE_HEAD,
    SOCKET_HEIGHT,
    SUPPLY_HEIGHT,
    WIDTH,
    Box,
    Layout,
    Socket,
    Wire,
)
from lessons.pictures.svg import text_width

__all__ = ["layout_of"]


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
    widest = max(text_width(name, 14, bold=True) for name in names) + 7
    return max(1, min(len(names), FIELDS_IN_ROW, int((width - 12 + FIELD_GAP)
                                                     // (widest + FIELD_GAP))))


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
            width = (box.width - 12 - FIELD_GAP * (columns - 1)) / columns
            boxes[name] = Box(box.x + 6 + place * (width + FIELD_GAP),
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


def _controllers(names: tuple[str, ...], top: float, right: float) -> dict[str, Box]:
    """Place the controllers in one row."""
    count = max(len(names), 1)
    between = 110.0 if count == 2 else 40.0
    width = min(272.0, (right - MARGIN - between * (count - 1)) / count)
    start = MARGIN + (right - MARGIN - width * count - between * (count - 1)) / 2
    return {
        name: Box(start + i * (width + between), top, width, CONTROLLER_HEIGHT)
        for i, name in enumerate(names)
    }


def _side(plant: Plant, names: list[str]) -> dict[str, Box]:
    """Place what hangs on the other bus one below the other, with room for its lamps."""
    side: dict[str, Box] = {}
    y = MARGIN
    for name in names:
        # A repeater shows two lamps on each side, a panel one for each controller and two more.
        lamps = {"repeater": 4, "panel": 2 + len(plant.controllers)}
        height = SIDE_HEAD + LAMP_ROW * lamps.get(plant.parts[name].kind, 0) + 6
        side[name] = Box(WIDTH - MARGIN - SIDE, y, SIDE, height)
        y += height + SIDE_GAP
    return side


def _other_wires(plant: Plant, controllers: Mapping[str, Box], side: Mapping[str, Box],
                 linked: set[str], top: float) -> list[Wire]:
    """Lead the sync cables and the other bus."""
    wires: list[Wire] = []
    level, lane = top + 46, top - 12
    for name, part in plant.parts.items():
        if part.kind != "cable" or name in linked:
            continue
        wire = routes.sync_wire(name, part, controllers, level)
        if wire:
            level += 34
        else:
            wire = routes.bus_wire(name, part, controllers, side, lane)
            lane -= 9 if wire and any(end in controllers for end in wire.ends) else 0
        wires += [wire] if wire else []
    return wires


def _chips(names: list[str], top: float) -> dict[str, Box]:
    """Place parts without wires in rows of three at the bottom."""
    column = (WIDTH - 2 * MARGIN) / 3
    return {
        name: Box(MARGIN + (i % 3) * column + 4, top + (i // 3) * (CHIP_HEIGHT + 8), column - 8,
                  CHIP_HEIGHT)
        for i, name in enumerate(names)
    }


def layout_of(plant: Plant) -> Layout:
    """Find the places of all parts and wires of a plant.

    Parameters
    ----------
    plant : Plant
        Any plant; parts of which the picture knows nothing stand in a row at the bottom.

    >>> from labkit.plant.plant import load_plant
    >>> round(layout_of(load_plant()).boxes["KF10"].width)
    279
    """
    names = plant.controllers
    beyond = _beyond(plant, names)
    feeding = {f for part in plant.parts.values() for f in part.fed_by}
    powered = any(n in feeding or p.kind in ("supply", "ups") for n, p in plant.parts.items())
    right = WIDTH - MARGIN - (SIDE + 36 if beyond else 0)
    top = MARGIN + (SUPPLY_HEIGHT + 36 if powered else 30 if beyond else 0)

    controllers = _controllers(names, top, right)
    supplies = _supplies(plant, controllers, right)
    side = _side(plant, beyond)
    lowest = max([top + CONTROLLER_HEIGHT, *(box.bottom for box in side.values())])

    ribbons = max(top + CONTROLLER_HEIGHT + 22, lowest + 12)
    fields = _field_parts(plant)
    width = _rack_width(len(plant.racks))
    field_rows = max((-(-len(each) // _field_columns(each, width)) for each in fields.values()),
                     default=0)
    racks = _rack_rows(plant.racks, ribbons + RIBBON * max(len(names), 1) + 25,
                       22 + 12 * len(names), RACK_HEIGHT + field_rows * (FIELD_HEIGHT + 4) + 2)
    field_boxes = _fields(fields, racks)
    sockets = _sockets(plant, racks)
    strands = routes.strands(plant, controllers, racks, sockets, ribbons)

    linked = {name for strand in strands for name in strand.parts}
    wires = routes.feeds(plant, {**supplies, **controllers, **side, **racks}, supplies)
    wires += _other_wires(plant, controllers, side, linked, top)

    drawn = {*supplies, *controllers, *side, *racks, *field_boxes, *linked}
    drawn |= {wire.name for wire in wires} | {socket.interface for socket in sockets}
    bottom = max([lowest, *(box.bottom for box in racks.values())])
    chips = _chips([name for name in plant.parts if name not in drawn], bottom + 14)
    bottom = max([bottom, *(box.bottom for box in chips.values())])
    return Layout(WIDTH, bottom + MARGIN, controllers, supplies, racks, field_boxes, side, chips,
                  tuple(sockets), strands, tuple(wires))
