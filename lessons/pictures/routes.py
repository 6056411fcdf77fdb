"""The ways of wires in the picture of a plant: each cable once, clear of all plates.

A cable has a lane of its own: a level piece in a zone between two rows of plates, from which an
upright piece leads to each of its ends. Three kinds of zones: above a row of plates that share a
bus; between controllers and switches ('AB'); above the racks ('BC').
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from labkit.plant.plant import Plant
from lessons.pictures.geometry import Box, Cable, Point, Socket
from lessons.pictures.svg import text_width

LABEL_HEIGHT = 17.0
LANE, NAMED_LANE = 5.0, 18.0


@dataclass
class Edge:
    """Hold a cable while its way is found; a branch is a further piece of one, without its name."""

    name: str
    kind: str
    ends: tuple[str, ...]
    zone: str = ""
    rows: tuple[int, ...] = ()
    inline: bool = False
    branch: bool = False
    ports: dict[str, Point] = field(default_factory=dict)


def label_width(name: str) -> float:
    """Return the width of the label of a cable.

    >>> label_width("WF10") > label_width("WF1")
    True
    """
    return text_width(name, 13, bold=True) + 6


class Router:
    """Find the ways of all cables of a plant."""

    def __init__(self, plant: Plant, on_way: set[str], between: Sequence[str]):
        self.plant, self.between = plant, list(between)
        parts = plant.parts
        self.syncs, self.links, self.buses = [], [], []
        # What a switch of the ways carries beside them, such as a panel, stands on the right.
        racks = plant.of_kind("rack")
        left = {*on_way, *between, *plant.controllers, *racks}
        for name, part in parts.items():
            if part.kind == "cable":
                ends = tuple(plant.neighbours[name])
                if len(ends) > 1 and set(ends) <= set(plant.controllers):
                    self.syncs.append(Edge(name, "sync", ends))
                elif name in on_way or set(ends) <= set(between):
                    self.links.append(Edge(name, "link", tuple(n for n in ends if n in left)))
                    # A cable of many taps comes to what stands beside the rows, too.
                    if beside := [n for n in ends if n not in left]:
                        begin = [n for n in ends if n in left and n not in racks]
                        self.buses.append(Edge(name, "bus", (*begin[:1], *beside), branch=True))
                else:
                    self.buses.append(Edge(name, "bus", ends))
                continue
            for other in part.joins:
                kinds = {part.kind, parts[other].kind}
                if "cable" in kinds or kinds == {"interface", "rack"}:
                    continue
                if {name, other} <= left and kinds != {"rack"} and \
                        not {name, other} <= {*plant.controllers}:
                    self.links.append(Edge("", "link", (name, other)))
                elif part.kind != "rack" and parts[other].kind != "rack":
                    self.buses.append(Edge("", "bus", (name, other)))

    def cables(self) -> set[str]:
        """Return the names of the cables that are led."""
        return {edge.name for edge in (*self.syncs, *self.links, *self.buses) if edge.name}

    def bypassing(self, supplies: Sequence[str]) -> list[tuple[str, str]]:
        """Return the feeds between supplies that have to pass others."""
        fed_by = {name: self.plant.parts[name].fed_by for name in supplies}
        return [(feeder, name) for name in supplies for feeder in fed_by[name]
                if feeder in supplies and supplies.index(name) != supplies.index(feeder) + 1]

    def into(self, rack: str, interfaces: Mapping[str, list[str]]) -> list[Edge]:
        """Return the links that end at a rack."""
        ends = {rack, *interfaces[rack]}
        return [edge for edge in self.links if ends & set(edge.ends)]

    # ------------------------------------------------------------ which zone, how high

    def sort_edges(self, rows: Mapping[str, int], side_rows: Sequence[Sequence[str]],
                   interfaces: Mapping[str, list[str]], feeders: Mapping[str, list[str]]) -> None:
        """Settle in which zone each cable has its lane."""
        between = self.between
        self.any_rack = bool(interfaces)
        self.beside = [pair for names in side_rows for pair in pairwise(names)]
        units = set(self.plant.controllers)
        for edge in self.links:
            at = set(edge.ends)
            if at <= set(between):
                places = sorted(map(between.index, at))
                edge.zone = "B" if len(at) == 2 and places[1] - places[0] == 1 else "AB"
                edge.inline = edge.zone == "AB" and bool(edge.name)
            elif at <= units | set(between):
                edge.zone = "AB"
            else:
                edge.zone = "BC"
        side = [name for names in side_rows for name in names]
        for edge in self.buses:
            edge.ends = tuple(name for name in edge.ends if name in rows or name in between)
            pair = tuple(sorted(edge.ends, key=lambda n: side.index(n) if n in side else -1))
            edge.zone = "side" if pair in self.beside else "comb"
            edge.rows = tuple(sorted({rows[name] for name in edge.ends if name in rows}))
            edge.inline = bool(edge.name) and not edge.branch
        self.buses = [edge for edge in self.buses if len(edge.ends) > 1 and edge.rows]
        self.drops = [edge for edge in self.buses if set(edge.ends) & set(between)]
        self.feeds = []
        for name, fed in feeders.items():
            row_ends = tuple(n for n in fed if n in rows)
            self.feeds.append(Edge(name, "feed", tuple(fed), "comb" if row_ends else "",
                                   tuple(sorted({rows[n] for n in row_ends}))))
        self.rows = rows
        self.feeds_between = [e for e in self.feeds if set(e.ends) & set(between)]
        self.feeds_racks = [e for e in self.feeds if set(e.ends) & set(interfaces)]

    def _combs(self, row: int) -> list[Edge]:
        return [e for e in (*self.feeds, *self.buses) if e.zone == "comb" and row in e.rows]

    @staticmethod
    def _pitch(edge: Edge) -> float:
        return NAMED_LANE if edge.inline else LANE

    def lanes_height(self, row: int) -> float:
        """Return how high the lanes above a row of plates are."""
        lanes = [self._pitch(e) if e.rows[0] == row else LANE for e in self._combs(row)]
        return sum(lanes) + 5 if lanes else 0.0

    def _zone(self, zone: str) -> list[Edge]:
        return [edge for edge in self.links if edge.zone == zone]

    def zone_height(self, zone: str) -> float:
        """Return how high the zone above the switches or above the racks is."""
        if zone == "AB":
            if not self.between:
                return 0.0
            # Links that pass the row of switches may have to step aside above it.
            passing = sum(1 for e in self._zone("BC") if set(e.ends) & set(self.plant.controllers))
            lanes = sum(map(self._pitch, self._zone("AB"))) + LANE * (
                passing + len(self.feeds_between))
        else:
            if not self.any_rack:
                return 0.0
            lanes = sum(map(self._pitch, self._zone("BC"))) + LANE * (
                len(self.feeds_racks) + len(self.drops) + bool(self.drops))
        return lanes + LABEL_HEIGHT + 8

    # ------------------------------------------------------------ ways

    def route(self, boxes: Mapping[str, Box], sockets: Mapping[str, Socket],
              supplies: Mapping[str, Box], controllers: Mapping[str, Box],
              side: Mapping[str, Box], racks: Mapping[str, Box], *, top: float,
              between_top: float, racks_top: float, spine_x: float, channel_x: float
              ) -> tuple[Cable, ...]:
        """Return all cables with their ways."""
        self.boxes, self.sockets = boxes, sockets
        self.controllers, self.racks = controllers, racks
        self.racks_top, self.side = racks_top, side
        self.row_tops = {0: top}
        for name, box in side.items():
            self.row_tops[self.rows[name]] = box.y
        led = [self._lead_sync(edge, level) for level, edge in enumerate(self.syncs)]
        led += self._lead_links(between_top, racks_top)
        led += self._lead_rows(supplies, spine_x, channel_x, between_top, racks_top)
        return tuple(cable for cable in led if cable.lines)

    def _lead_sync(self, edge: Edge, level: int) -> Cable:
        ends = sorted(edge.ends, key=lambda n: self.controllers[n].x)
        y = self.controllers[ends[0]].y + 46 + 26 * level
        lines = tuple(((self.controllers[a].right, y), (self.controllers[b].x, y))
                      for a, b in pairwise(ends))
        middle = (lines[0][0][0] + lines[0][1][0]) / 2
        width = label_width(edge.name)
        return Cable(edge.name, "sync", tuple(ends), lines,
                     Box(middle - width / 2, y - LABEL_HEIGHT - 2, width, LABEL_HEIGHT))

    # -- links

    def _box_of(self, name: str) -> Box:
        return self.sockets[name].box if name in self.sockets else self.boxes[name]

    def _plate(self, edge: Edge, name: str) -> tuple[str, str]:
        """Return which edge of which box a link comes to."""
        if name in self.controllers:
            return name, "bottom"
        if name in self.between:
            return name, "top" if edge.zone == "AB" else "bottom"
        return name, "top"

    def _give_ports(self) -> None:
        """Give each end of each link a place of its own on the rim of its plate."""
        at: dict[tuple[str, str], list[Edge]] = {}
        for edge in self.links:
            if edge.zone == "B":
                continue
            edge.ends = tuple(self._end(edge, name) for name in edge.ends)
            for name in edge.ends:
                at.setdefault(self._plate(edge, name), []).append(edge)
        for (name, rim), edges in at.items():
            box = self._box_of(name)

            def aim(edge: Edge, name: str = name) -> tuple[float, float]:
                others = [self._box_of(n) for n in edge.ends if n != name] or [self._box_of(name)]
                return sum(o.middle[0] for o in others) / len(others), -others[0].y

            # A name stands at the right of its piece: where it needs room, nothing follows.
            edges = sorted(edges, key=lambda edge: (
                rim == "top" and not edge.inline and name == self._named_end(edge), *aim(edge)))
            if name in self.sockets or name in self.racks:
                step = (box.width - 12) / len(edges)
                if name != self._named_end(edges[0]):
                    # The name of the last one ends where the plate does.
                    step = min(step, (box.width - 14 - label_width(edges[-1].name)) / len(edges[1:] or edges))
                xs = [box.x + 10 + i * step for i in range(len(edges))]
                y = self._rack_box(name).y
            else:
                named = max(label_width(edge.name) if edge.name else 0.0 for edge in edges)
                apart = named + 8.0 if rim == "top" and len(edges) > 1 else 0.0
                step = min(max(9.0, apart), (box.width - 20) / len(edges))
                xs = [box.middle[0] + (i - (len(edges) - 1) / 2) * step for i in range(len(edges))]
                y = box.bottom if rim == "bottom" else box.y
            for edge, x in zip(edges, xs, strict=True):
                edge.ports[name] = (x, y)

    def _end(self, edge: Edge, name: str) -> str:
        """Return the socket in which a link to a rack ends, where it has no interface."""
        if name not in self.racks:
            return name
        bare = sorted(s for s in self.sockets if self.sockets[s].rack == name
                      and s not in self.plant.parts)
        unit = next((n for n in edge.ends if n in self.controllers), None)
        place = list(self.controllers).index(unit) if unit else 0
        return bare[min(place, len(bare) - 1)] if bare else name

    def _rack_box(self, name: str) -> Box:
        return self.racks[self.sockets[name].rack if name in self.sockets else name]

    def _lead_links(self, between_top: float, racks_top: float) -> list[Cable]:
        self._give_ports()
        units = list(self.controllers)
        self._passed, self._taken, self._first_lane = 0, {}, {}
        led = []

        def key(edge: Edge) -> tuple:
            xs = [x for x, _ in edge.ports.values()]
            first = min((units.index(n) for n in edge.ends if n in units), default=len(units))
            return first, edge.inline, min(xs) - max(xs)

        for zone, below in (("AB", between_top), ("BC", racks_top)):
            edges = sorted(self._zone(zone), key=key)
            y = self._first_lane[zone] = below - LABEL_HEIGHT - 4 - sum(map(self._pitch, edges))
            for edge in edges:
                y += self._pitch(edge)
                led.append((edge, self._lead(edge, y - self._pitch(edge) / 2)))
        led += [(edge, self._straight(edge, {n: self.boxes[n] for n in edge.ends}))
                for edge in self._zone("B")]
        cables = [cable for _, cable in led]
        return [self._named(edge, cable, cables) for edge, cable in led]

    def _lead(self, edge: Edge, lane: float) -> Cable:
        """Lead a link by its lane."""
        stubs = [self._stub(edge, name, lane) for name in edge.ends]
        if len(stubs) == 2:
            lines = (tuple([*stubs[0], *reversed(stubs[1])]),)
        else:
            xs = [stub[-1][0] for stub in stubs]
            lines = (((min(xs), lane), (max(xs), lane)), *map(tuple, stubs))
        return Cable(edge.name, "link", edge.ends, lines)

    def _stub(self, edge: Edge, name: str, lane: float) -> list[Point]:
        """Lead from a plate to the lane."""
        x, y = edge.ports[name]
        if name in self.controllers and edge.zone == "BC" and self.between:
            gap = self._gap_near(x)
            if gap != x:
                aside = self._first_lane["AB"]
                self._first_lane["AB"] -= LANE
                return [(x, y), (x, aside), (gap, aside), (gap, lane)]
        if (name in self.sockets or name in self.racks) and y > self.racks_top:
            rack = self._rack_box(name)
            place = self._taken.get(rack.x, 0)
            self._taken[rack.x] = place + 1
            channel = rack.x - 5 - 5 * place
            turn = rack.y - LABEL_HEIGHT - 6 - 6 * (place % max(
                1, sum(self._rack_box(n) == rack for e in self.links for n in e.ends
                       if n in self.sockets or n in self.racks)))
            return [(x, y), (x, turn), (channel, turn), (channel, lane)]
        return [(x, y), (x, lane)]

    def _gap_near(self, x: float) -> float:
        """Return the nearest place at which a link passes the row of switches."""
        plates = [self.boxes[name] for name in self.between]
        named = [[self.boxes[name] for name in edge.ends] for edge in self._zone("B")]
        spans = [(min(box.x for box in boxes), max(box.right for box in boxes))
                 for boxes in (*([box] for box in plates), *named)]

        def clear(x: float) -> bool:
            return all(x < low - 3 or x > high + 3 for low, high in spans)

        if clear(x):
            return x
        self._passed += 1
        edges = sorted({*(box.x - 6 - 5 * self._passed for box in plates),
                        *(box.right + 6 + 5 * self._passed for box in plates)})
        return min(filter(clear, edges), key=lambda edge: abs(edge - x))

    def _straight(self, edge: Edge, boxes: Mapping[str, Box]) -> Cable:
        """Lead a cable between two plates that stand beside each other."""
        one, other = sorted(boxes, key=lambda n: boxes[n].x)
        y = min(boxes[one].middle[1], boxes[other].middle[1])
        twin = [e for e in (*self.links, *self.buses) if set(e.ends) == set(edge.ends)]
        y += 22 * (twin.index(edge) - (len(twin) - 1) / 2)
        x0, x1 = boxes[one].right, boxes[other].x
        width = label_width(edge.name)
        label = Box((x0 + x1 - width) / 2, y - LABEL_HEIGHT - 2, width, LABEL_HEIGHT)
        return Cable(edge.name, edge.kind, edge.ends, (((x0, y), (x1, y)),),
                     label if edge.name else None)

    def _named(self, edge: Edge, cable: Cable, led: Sequence[Cable]) -> Cable:
        """Give a link the place of its name: beside its last end, or on its lane."""
        if cable.label or not edge.name:
            return cable
        width = label_width(edge.name)
        if edge.inline:
            y = self._lane_of(cable)
            xs = [p[0] for line in cable.lines for p in line if p[1] == y]
            uprights = [p[0] for other in led if other is not cable for line in other.lines
                        for p, q in pairwise(line)
                        if p[0] == q[0] and min(p[1], q[1]) < y + 8 and max(p[1], q[1]) > y - 8]
            x = _free(min(xs), max(xs), width, uprights)
            return replace(cable, label=Box(x, y - LABEL_HEIGHT / 2, width, LABEL_HEIGHT))
        x, y = edge.ports[self._named_end(edge)]
        return replace(cable, label=Box(x + 3, y - LABEL_HEIGHT - 2, width, LABEL_HEIGHT))

    def _named_end(self, edge: Edge) -> str:
        """Return the end beside which the name of a link stands: of a chain the far one."""
        ends = [n for n in edge.ends if n not in self.controllers]
        return ([n for n in ends if n not in self.between] or ends)[-1]

    @staticmethod
    def _lane_of(cable: Cable) -> float:
        """Return the height of the longest level piece."""
        level = [(abs(p[0] - q[0]), p[1]) for line in cable.lines for p, q in pairwise(line)
                 if p[1] == q[1]]
        return max(level)[1]

    # -- buses and feeds

    def _lead_rows(self, supplies: Mapping[str, Box], spine_x: float, channel_x: float,
                   between_top: float, racks_top: float) -> list[Cable]:
        lanes: dict[tuple[int, int], float] = {}
        for row, top in self.row_tops.items():
            y = top - self.lanes_height(row) + 2
            for edge in self._combs(row):
                pitch = self._pitch(edge) if edge.rows[0] == row else LANE
                lanes[id(edge), row] = y + pitch / 2
                y += pitch
        taps: dict[str, int] = {}
        spines = 0
        led, bypass = [], self.bypassing(list(supplies))
        for i, edge in enumerate(self.feeds):
            x = channel_x + 6 * i
            box = supplies[edge.name]
            lines = []
            for other in edge.ends:
                if other in supplies:
                    end = supplies[other]
                    if (edge.name, other) in bypass:
                        out = end.x - 5 * (1 + bypass.index((edge.name, other)))
                        lines.append(((box.x, box.middle[1]), (out, box.middle[1]),
                                      (out, end.middle[1]), (end.x, end.middle[1])))
                    else:
                        lines.append(((box.middle[0], box.bottom), (box.middle[0], end.y)))
            reached = [n for n in edge.ends if n in self.rows]
            down = [n for n in edge.ends if n in self.between or n in self.racks]
            if reached or down:
                lines.append(((box.right, box.middle[1]), (x, box.middle[1])))
            if edge.zone == "comb":
                lines += self._comb(edge, lanes, taps, spine_x + 5 * spines, (x, box.middle[1]))
                spines += self._has_spine(edge)
            for name in down:
                end = self.boxes[name]
                if name in self.between:
                    y = between_top - self.zone_height("AB") + 5 + LANE * i
                else:
                    y = self._first_lane["BC"] - LANE * self.feeds_racks.index(edge)
                if end.y > racks_top and name in self.racks:
                    aside, turn = end.right + 3, end.y - 5
                    lines.append(((x, box.middle[1]), (x, y), (aside, y), (aside, turn),
                                  (end.right - 8 - 6 * i, turn), (end.right - 8 - 6 * i, end.y)))
                    continue
                at = end.x + 8 + 6 * i if name in self.between else end.right - 8 - 6 * i
                lines.append(((x, box.middle[1]), (x, y), (at, y), (at, end.y)))
            led.append(Cable(edge.name, "feed", (edge.name, *edge.ends), tuple(lines)))
        for edge in self.buses:
            if edge.zone == "side":
                led.append(self._straight(edge, {n: self.side[n] for n in edge.ends}))
                continue
            lines = self._comb(edge, lanes, taps, spine_x + 5 * spines, None)
            spines += self._has_spine(edge)
            y = lanes[id(edge), edge.rows[0]]
            xs = [p[0] for line in lines for p in line if p[1] == y]
            label = None
            if edge.inline:
                width = label_width(edge.name)
                uprights = [line[0][0] for other in led for line in other.lines
                            if len(line) == 2 and line[0][0] == line[1][0]
                            and min(line[0][1], line[1][1]) < y < max(line[0][1], line[1][1])]
                uprights += [line[0][0] for line in lines if line[0][0] == line[-1][0]]
                label = Box(_free(min(xs), max(xs), width, uprights, late=True),
                            y - LABEL_HEIGHT / 2, width, LABEL_HEIGHT)
            led.append(Cable(edge.name, "bus", edge.ends, tuple(lines), label))
        return led

    def _comb(self, edge: Edge, lanes: Mapping[tuple[int, int], float], taps: dict[str, int],
              spine_x: float, start: Point | None) -> list[tuple[Point, ...]]:
        """Lead a wire by a lane above each row in which it has ends, joined by one upright piece."""
        lines: list[tuple[Point, ...]] = []
        for row in edge.rows:
            y = lanes[id(edge), row]
            xs = [spine_x] if self._has_spine(edge) else []
            for name in edge.ends:
                if self.rows.get(name) != row:
                    continue
                box, place = self.boxes[name], taps.get(name, 0)
                taps[name] = place + 1
                # A lane to a spine on the right begins far from it, for its name stands on it.
                left = edge.kind == "feed" or edge in self.drops and spine_x > box.middle[0]
                x = box.x + 14 + 9 * place if left else box.right - 20 - 9 * place
                lines.append(((x, y), (x, box.y)))
                xs.append(x)
            if start and row == edge.rows[0]:
                lines.append((start, (start[0], y)))
                xs.append(start[0])
            lines.append(((min(xs), y), (max(xs), y)))
        if self._has_spine(edge):
            ys = [lanes[id(edge), row] for row in edge.rows]
            for name in edge.ends:
                if edge in self.drops and name in self.between:
                    box, place = self.boxes[name], taps.get(name, 0)
                    taps[name] = place + 1
                    x = box.right - 6 - 9 * place
                    ys.append(self._first_lane["BC"] - LANE * (
                        len(self.feeds_racks) + 1 + self.drops.index(edge)))
                    lines.append(((x, box.bottom), (x, ys[-1]), (spine_x, ys[-1])))
            lines.append(((spine_x, min(ys)), (spine_x, max(ys))))
        return lines

    def _has_spine(self, edge: Edge) -> bool:
        """Return whether an upright piece beside the rows joins the lanes of a wire."""
        return len(edge.rows) > 1 or edge in self.drops


def _free(low: float, high: float, width: float, uprights: Iterable[float],
          late: bool = False) -> float:
    """Return a place for a name on a lane where no upright piece crosses it; near the middle."""
    aim = high - width - 26 if late else (low + high - width) / 2
    steps = [low + 3 + 4 * i for i in range(max(1, int((high - low - width - 6) // 4) + 1))]
    uprights = list(uprights)
    clear = [x for x in steps if all(not x - 2 < u < x + width + 2 for u in uprights)]
    return min(clear or steps, key=lambda x: abs(x - aim))
