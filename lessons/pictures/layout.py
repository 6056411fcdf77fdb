"""Where the parts and wires of a plant stand in its picture, found from the wiring alone.

Left, from top to bottom: controllers with what feeds them beside them and the sync cables between
them, switches on the way, racks with a socket for each interface. Right: what hangs on the
controllers' other bus, then the trend. A narrow picture has the right side below the left one.

Of more than `MOST_PARTS` parts nobody could read each: a rack with what hangs on it is then a room,
one small plate, and the rack itself lies over the picture to be opened.

Conditions: any number of parts, in stars, chains and rings; each cable is drawn once. Nothing
depends on how parts are designated.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from functools import cached_property

from labkit.plant.plant import Plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import lamps_of
from lessons.pictures.geometry import Box, Layout, Socket
from lessons.pictures.routes import Router, label_width
from lessons.pictures.svg import text_width

WIDE, NARROW = 1256.0, 940.0
"""Widths for a panel on a school laptop, and for one beside the list of files."""
WIDTHS = (WIDE, 1150.0, NARROW, 915.0, 840.0, 770.0, 700.0, 620.0, 560.0, 520.0, 412.0)
"""Widths of the rig, in a notebook and in a file."""

SMALL = 13.0
MARGIN = 4.0
LAMP_ROW = 15.0
CONTROLLER_HEAD, PLATE_HEAD, SOCKET_HEAD, RACK_HEAD = 30.0, 26.0, 19.0, 22.0
CHIP_HEIGHT, FIELD_HEIGHT = 22.0, 21.0
BETWEEN_GAP, LEAST_BETWEEN = 50.0, 62.0
STACKED_BELOW, TIGHT_BELOW = 750.0, 450.0
TREND_HEIGHT = 132.0
MOST_BETWEEN = 5
MOST_PARTS = 60
ROOM_WIDTH, LEAST_ROOM, ROOM_HEIGHT, OPENED_WIDTH = 124.0, 96.0, 62.0, 230.0


def is_large(plant: Plant) -> bool:
    """Return whether a plant is drawn by rooms."""
    return len(plant.parts) > MOST_PARTS


def room_of(rack: str) -> str:
    """Return what the room of a rack is called; no part has a space in its designation.

    >>> room_of("KF10")
    'KF10 room'
    """
    return f"{rack} room"


def _beyond(plant: Plant, between: Iterable[str], taken: Iterable[str]) -> list[str]:
    """Return what hangs on other cables of controllers and switches of the ways, nearest first."""
    taken, reached = set(taken), [*plant.controllers, *between]
    begun = len(reached)
    for name in reached:
        for other in plant.neighbours[name]:
            if other not in taken and plant.parts[other].kind not in ("rack", "interface"):
                taken.add(other)
                reached.append(other)
    return [name for name in reached[begun:] if plant.parts[name].kind != "cable"]


def _supply_order(plant: Plant, placed: Iterable[str]) -> list[str]:
    """Return what feeds others, each feeder before what it feeds."""
    feeders = {name for part in plant.parts.values() for name in part.fed_by}
    names = [name for name, part in plant.parts.items()
             if (name in feeders or part.kind in ("supply", "ups")) and name not in placed]
    order: list[str] = []

    def put(name: str) -> None:
        if name in names and name not in order:
            for feeder in plant.parts[name].fed_by:
                put(feeder)
            order.append(name)

    for name in names:
        put(name)
    return order


class _Plan:
    """Place one plant in a picture of one width."""

    def __init__(self, plant: Plant, width: float, process: bool):
        self.plant, self.width = plant, width
        self.lamps = Counter(lamp.unit for lamp in lamps_of(Switchover(plant).snapshot()))
        parts = plant.parts
        # Other controllers have the row of the switches, and their racks the one of the racks.
        beside, self.racks = plant.beside_the_pair, plant.of_kind("rack")
        others = beside.intersection(plant.of_kind("controller"))
        on_way = {name for unit in (*plant.controllers, *others) for rack in self.racks
                  if (unit in others) == (rack in beside)
                  for way in plant.ways(unit, rack) for name in way}
        self.interfaces = {rack: [name for name in plant.neighbours[rack]
                                  if parts[name].kind == "interface"] for rack in self.racks}
        # an interface that a cable joins to its rack is no socket of it
        sockets = {name for names in self.interfaces.values() for name in names}
        self.between = [name for name in parts if name in (on_way | others) - sockets
                        and parts[name].kind != "cable"]
        taken = {*on_way, *plant.controllers, *others}
        shared = [name for name in parts if name in on_way and parts[name].kind == "cable"]
        self.beyond = _beyond(plant, [*self.between, *shared], taken)
        self.supplies = _supply_order(plant, {*plant.controllers, *self.between, *self.beyond})
        self.beyond = [name for name in self.beyond if name not in self.supplies]
        self.fields = {rack: [name for name in plant.neighbours[rack] if parts[name].kind not in
                              ("cable", "interface", "controller", "rack")
                              and name not in self.between] for rack in self.racks}
        self.process, self.large = process, is_large(plant)
        right = bool(self.beyond) or process
        # What hangs on a switch has an upright wire of its own, past the rows beside it.
        self.hung = self.beyond != [name for name in _beyond(plant, shared, taken)
                                    if name in self.beyond]
        least = STACKED_BELOW + 100 * max(0, len(plant.controllers) - 2) + 100 * self.hung
        self.stacked = right and (width < least or len(self.between) > MOST_BETWEEN)
        self.beside = right and not self.stacked
        self.router = Router(plant, on_way, self.between)
        named = [label_width(edge.name) + 6 for edge in self.router.links
                 if {*edge.ends} <= {*self.between}]
        self.between_gap = max([BETWEEN_GAP if named or width >= TIGHT_BELOW else BETWEEN_GAP / 2, *named])
        self.side_gap = max([30.0, *(label_width(edge.name) + 2 for edge in self.router.buses)])

    def layout(self) -> Layout:
        """Place everything."""
        self._columns()
        router = self.router
        feeders = {name: [other for other, part in self.plant.parts.items()
                          if name in part.fed_by] for name in self.supplies}
        side_rows = [self.beyond[i:i + self.side_columns]
                     for i in range(0, len(self.beyond), self.side_columns)]
        rows = {name: row + self.stacked for row, names in enumerate(side_rows) for name in names}
        rows |= dict.fromkeys(self.plant.controllers, 0)
        router.sort_edges(rows, side_rows, self.interfaces, feeders)

        # the mark of a controller stands above its plate
        top = MARGIN + max(router.lanes_height(0), 10)
        supplies = self._place_supplies(top)
        controllers = self._place_controllers(top)
        low = max([box.bottom for box in controllers.values()], default=top)
        between_top = low + router.zone_height("AB")
        between = self._place_between(between_top)
        low = max([low, *(box.bottom for box in (*between.values(), *supplies.values()))])
        racks_top = low + router.zone_height("BC")
        racks = self._place_racks(racks_top)
        fields, sockets = self._fill_racks(racks)
        left_bottom = max([low, *(box.bottom for box in racks.values())])

        side_top = left_bottom + 12 + router.lanes_height(1) if self.stacked else top
        side, side_bottom = self._place_side(side_rows, side_top)
        units = {fault.unit for fault in faults_of(self.plant).values()}
        drawn = {*supplies, *controllers, *between, *side, *racks, *fields, *sockets,
                 *router.cables()}
        loose = [name for name in self.plant.parts if name not in drawn]
        loose += sorted(units - set(self.plant.parts), key=lambda name: ("+" not in name, name))
        trend, chips, bottom = self._place_trend(loose, left_bottom, side_bottom)
        boxes = {**supplies, **controllers, **between, **side, **racks}
        cables = router.route(boxes, sockets, supplies, controllers, side, racks, top=top,
                              between_top=between_top, racks_top=racks_top, spine_x=self.spine_x,
                              channel_x=self.channel_x)
        rooms = {room_of(rack): box for rack, box in racks.items()} if self.large else {}
        if rooms:
            # The links end where the sockets would be; the rack itself is elsewhere.
            racks = self._place_opened(racks, bottom)
            fields, sockets = self._fill_racks(racks)
            bottom = max(bottom, *(box.bottom for box in racks.values()))
        return Layout(self.width, bottom + MARGIN, supplies, controllers, between, side, racks,
                      fields, chips, sockets, cables, trend, rooms)

    # ------------------------------------------------------------ columns

    def _columns(self) -> None:
        # What stands beside each other needs its room; a narrower page lets the picture scroll.
        count = len(self.between)
        tight = self.width < TIGHT_BELOW
        # What passes supplies on their left takes from their width, and their names need theirs.
        named = min(130.0, max((text_width(name, 16, bold=True) for name in self.supplies), default=0.0)) + 12 + \
            5 * len(self.router.bypassing(self.supplies))
        usual = 124.0 if self.width >= 1100 else 46.0 if tight else 62.0
        self.supply_width = max(usual, named) if self.supplies else 0.0
        least = 70 + 6 * len(self.supplies) + count * (LEAST_BETWEEN + self.between_gap) + 40
        units = len(self.plant.controllers)
        self.sync_gap = 52.0 if tight else 66.0 if self.width < 1100 else 84.0
        spine = 8 + 5 * len(self.beyond) if self.stacked and self.beyond else 0
        beside_units = (16 + self.supply_width + 6 * len(self.supplies) if self.supplies else 2) \
            if tight else 86 + 6 * len(self.supplies)
        least = max(least if count else 0.0, beside_units + 132 * units + spine * tight
                    + min(self.sync_gap, 66.0) * max(0, units - 1))
        width = self.width = max(self.width, least)
        if self.beside:
            # Where the racks take two rows for their field parts anyway, the panel takes more.
            share = 0.39 if 1100 <= width < 1200 else 0.375
            across = (300.0 if self.large else share * width) if self.process else 208.0
            self.right = Box(width - across, 0, across - 2, 0)
            self.left = width - across - self.side_gap - 5 * len(self.beyond[2:] and self.beyond)
        else:
            self.left = width - 2 - spine
            self.right = Box(2, 0, (self.left if self.hung else width) - 4, 0)
        self.spine_x = self.left + 7
        self.side_columns = max(1, int((self.right.width + self.side_gap)
                                       // (138 + self.side_gap)))
        if not self.process and self.beside:
            self.side_columns = 1
        self.channel_x = 2 + self.supply_width + 8
        self.units_x = self.channel_x + 6 * len(self.supplies) + 4 if self.supplies else 2.0
        if self.racks:
            # Below each other the racks have the links of all of them beside them.
            _, least, into = self._link_sizes()
            short = 12 + 5 * (len(self.racks) - 1) * into + least - self.left
            if short > 0:
                self.width += short
                self._columns()

    @cached_property
    def _sockets_high(self) -> float:
        rows = [self.lamps[name] for names in self.interfaces.values() for name in names]
        rows += [count for unit, count in self.lamps.items() if unit not in self.plant.parts]
        return SOCKET_HEAD + LAMP_ROW * max(rows, default=0) + 3

    # ------------------------------------------------------------ rows on the left

    def _place_supplies(self, top: float) -> dict[str, Box]:
        height = 38.0 if len(self.supplies) <= 4 else 28.0
        x = 2 + 5 * len(self.router.bypassing(self.supplies))
        return {name: Box(x, top + i * (height + 9), self.supply_width + 2 - x, height)
                for i, name in enumerate(self.supplies)}

    def _place_controllers(self, top: float) -> dict[str, Box]:
        names = self.plant.controllers
        count = max(len(names), 1)
        gap = self.sync_gap if self.router.syncs else 24.0
        width = min(250.0, (self.left - self.units_x - gap * (count - 1)) / count)
        if self.router.syncs and count > 1:
            # Wide enough plates keep to the ends of the row, the cable between them grows.
            gap = min(200.0, (self.left - self.units_x - width * count) / (count - 1))
        rows = max([self.lamps[name] for name in names], default=0)
        height = max(CONTROLLER_HEAD + LAMP_ROW * rows + 3, 58 + 26 * len(self.router.syncs))
        return {name: Box(self.units_x + i * (width + gap), top, width, height)
                for i, name in enumerate(names)}

    def _place_between(self, top: float) -> dict[str, Box]:
        names = self.between
        if not names:
            return {}
        room = self.left - self.units_x - 36
        width = min(200.0, (room - self.between_gap * (len(names) - 1)) / len(names))
        start = self.units_x + (room - width * len(names) - self.between_gap * (len(names) - 1)) / 2
        rows = max(self.lamps[name] for name in names)
        return {name: Box(start + i * (width + self.between_gap), top, width,
                          PLATE_HEAD + LAMP_ROW * rows + (8 if rows else 10))
                for i, name in enumerate(names)}

    def _place_racks(self, top: float) -> dict[str, Box]:
        """Place the racks, or their rooms, in rows."""
        racks = self.racks
        if not racks:
            return {}
        room = self.left - 2
        ends, least, into = self._link_sizes()
        most = max(1, int((room + 6) // max(ROOM_WIDTH if self.large else 178.0, least + 5 * ends)))
        for columns in range(-(-len(racks) // -(-len(racks) // min(most, len(racks)))), 0, -1):
            lower = max(Counter(i % columns for i in range(columns, len(racks))).values(),
                        default=0)
            gap = 10 + 5 * lower * into if lower else 6.0
            indent = gap if lower else 0.0
            width = min(300.0, (room - indent - gap * (columns - 1)) / columns)
            # Links to the rows below take room that the names of links need.
            if width >= least:
                break
        if columns > 1 and not lower:
            gap = min(60.0, (room - width * columns) / (columns - 1))
        height = ROOM_HEIGHT if self.large else self._rack_height(racks, width)
        pitch = height + 26 + 6 * into
        return {rack: Box(2 + indent + i % columns * (width + gap), top + i // columns * pitch,
                          width, height if self.large or self._socket_names(rack) else
                          self._rack_height([rack], width)) for i, rack in enumerate(racks)}

    def _link_sizes(self) -> tuple[int, float, int]:
        """Return the most sockets of a rack, the width that names of links need, the most links."""
        links = [self.router.into(rack, self.interfaces) for rack in self.racks]
        names = [edge.name for edges in links for edge in edges]
        ends = max(len(self._socket_names(rack)) for rack in self.racks)
        named = 4 + ends * (max(map(label_width, names), default=0.0) + 10)
        return ends, max(named, LEAST_ROOM * self.large), max(map(len, links))

    def _rack_height(self, racks: Iterable[str], width: float) -> float:
        return 5 + max(self._head(rack) + (FIELD_HEIGHT + 3) * len(
            self._field_rows(self.fields[rack], width - 8)) for rack in racks)

    def _head(self, rack: str) -> float:
        """Return how high the sockets and the name of a rack are together."""
        return RACK_HEAD + (5 + self._sockets_high if self._socket_names(rack) else 4)

    def _place_opened(self, rooms: Mapping[str, Box], bottom: float) -> dict[str, Box]:
        """Place each rack below its room, or above it where there is no space below."""
        opened = {}
        for rack, room in rooms.items():
            width = min(OPENED_WIDTH, self.width - 12)
            height = self._rack_height([rack], width)
            x = min(max(room.middle[0] - width / 2, 6.0), self.width - width - 6)
            below = room.bottom + 8 + height <= bottom
            y = room.bottom + 8 if below else max(room.y - 8 - height, 6.0)
            opened[rack] = Box(x, y, width, height)
        return opened

    def _fill_racks(self, boxes: Mapping[str, Box]):
        """Place what is in each rack: interfaces or ends of links, and what is wired to it."""
        fields, sockets = {}, {}
        for rack, box in boxes.items():
            names = self._socket_names(rack)
            each = (box.width - 4 * (len(names) + 1)) / max(len(names), 1)
            for k, name in enumerate(names):
                sockets[name] = Socket(name, rack, Box(box.x + 4 + k * (each + 4), box.y + 5, each,
                                                       self._sockets_high))
            for r, line in enumerate(self._field_rows(self.fields[rack], box.width - 8)):
                share = (box.width - 8 - 3 * (len(line) - 1)) / len(line)
                for k, name in enumerate(line):
                    fields[name] = Box(box.x + 4 + k * (min(share, 140.0) + 3),
                                       box.y + self._head(rack) + r * (FIELD_HEIGHT + 3),
                                       min(share, 140.0), FIELD_HEIGHT)
        return fields, sockets

    def _socket_names(self, rack: str) -> list[str]:
        bare = [unit for unit in self.lamps
                if unit not in self.plant.parts and unit.rpartition(" ")[0] == rack]
        return [*self.interfaces[rack], *bare]

    @staticmethod
    def _field_rows(names: list[str], room: float) -> list[list[str]]:
        """Break designations into rows that fit beside each other."""
        if not names:
            return []
        widest = max(text_width(name, SMALL, bold=True) for name in names) + 5
        columns = max(1, min(len(names), int((room + 3) // (widest + 3))))
        columns = -(-len(names) // -(-len(names) // columns))
        return [names[i:i + columns] for i in range(0, len(names), columns)]

    # ------------------------------------------------------------ the right side

    def _place_side(self, rows: list[list[str]], top: float) -> tuple[dict[str, Box], float]:
        side: dict[str, Box] = {}
        y = top
        columns = min(self.side_columns, len(self.beyond))
        for place, names in enumerate(rows):
            y += self.router.lanes_height(place + self.stacked) if place else 0
            width = min(280.0, (self.right.width - self.side_gap * (columns - 1)) / columns)
            lamps = max(self.lamps[name] for name in names)
            height = PLATE_HEAD + LAMP_ROW * lamps + (5 if lamps else 11)
            for i, name in enumerate(names):
                side[name] = Box(self.right.x + i * (width + self.side_gap), y, width, height)
            y += height + 20
        return side, y - 20 if rows else top - 12

    def _place_trend(self, loose: list[str], left_bottom: float, side_bottom: float):
        """Place the trend, and below it what has no wires."""
        zone = self.right if self.beside or self.stacked else Box(2, 0, self.width - 4, 0)
        high = side_bottom if self.beside else max(left_bottom, side_bottom)
        rows = self._chip_rows(loose, zone.width)
        chips_high = (CHIP_HEIGHT + 4) * len(rows)
        trend = None
        bottom = max(left_bottom, high)
        if self.process:
            bottom = max(left_bottom, high + 12 + TREND_HEIGHT + chips_high)
            high_enough = 2 * TREND_HEIGHT if self.large else math.inf
            trend = Box(zone.x, high + 12, zone.width,
                        min(bottom - chips_high - high - 14, high_enough))
        elif rows:
            bottom = max(left_bottom, high + 12 + chips_high)
        chips = {}
        for r, line in enumerate(rows):
            x = zone.x
            for name in line:
                chips[name] = Box(x, bottom - chips_high + 4 + r * (CHIP_HEIGHT + 4),
                                  self._chip_width(name), CHIP_HEIGHT)
                x = chips[name].right + 6
        return trend, chips, bottom

    def _chip_rows(self, names: list[str], room: float) -> list[list[str]]:
        rows: list[list[str]] = []
        left = 0.0
        for name in names:
            width = self._chip_width(name) + 6
            if not rows or width > left:
                rows.append([])
                left = room + 6
            rows[-1].append(name)
            left -= width
        return rows

    def _chip_width(self, name: str) -> float:
        part = self.plant.parts.get(name)
        words = min(text_width(part.what, SMALL), 120.0) if part else 0.0
        return text_width(name, SMALL, bold=True) + words + 34


def layout_of(plant: Plant, width: float = WIDE, *, process: bool | None = None) -> Layout:
    """Find the places of all parts and wires of a plant.

    Parameters
    ----------
    plant : Plant
        Any plant; what has no wires stands in a row at the bottom.
    width : float
        Of the picture, >= 500: in pixels, so that type is as large on each of them.
    process : bool, optional
        Whether there is room for the trend; as the plant has a process where it is left out.

    >>> from labkit import load_plant
    >>> sorted(layout_of(load_plant()).controllers)
    ['KF1', 'KF2']
    """
    return _Plan(plant, width, bool(plant.process) if process is None else process).layout()


def reading_order(places: Mapping[str, Box]) -> list[str]:
    """Return the names of places as one reads: band by band, from left to right.

    >>> reading_order({"b": Box(50, 3, 9, 9), "c": Box(0, 90, 9, 9), "a": Box(0, 0, 9, 9)})
    ['a', 'b', 'c']
    """
    return sorted(places, key=lambda name: (places[name].y // 40, places[name].x))
