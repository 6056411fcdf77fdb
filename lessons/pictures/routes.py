"""The ways of wires in the picture of a plant: links in ribbons, feeds, buses.

Every way is a line of level and upright pieces that keeps clear of the plates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from labkit.plant.plant import Plant
from labkit.plant.plant_data import PlantPart
from lessons.pictures.geometry import RIBBON, Box, Point, Socket, Strand, Wire

__all__ = ["bus_wire", "feeds", "strands", "sync_wire"]


def strands(plant: Plant, controllers: Mapping[str, Box], racks: Mapping[str, Box],
            sockets: Sequence[Socket], top: float) -> tuple[Strand, ...]:
    """Lead a ribbon from each controller to its sockets, strands of one ribbon uncrossed.

    Parameters
    ----------
    plant : Plant
        The plant.
    controllers, racks : mapping of str to Box
        Places by designation.
    sockets : sequence of Socket
        Ends of the links.
    top : float
        Height of the first ribbon, in grid units.

    >>> from lessons.pictures.layout import layout_of
    >>> from labkit.plant.plant import load_plant
    >>> layout_of(load_plant()).strands[0].points[0][1]
    256.0
    """
    lines = plant.lines()
    first_row = min((box.y for box in racks.values()), default=0.0)
    led = []
    for level, (controller, box) in enumerate(controllers.items()):
        ends = sorted((s for s in sockets if s.controller == controller),
                      key=lambda s: (s.box.middle[0], -s.box.y))
        apart = min(8.0, (RIBBON - 8) / max(len(ends), 1))
        exits = [box.middle[0] + (i - (len(ends) - 1) / 2) * apart for i in range(len(ends))]
        # The farther a strand goes, the higher its lane: so no two of a ribbon cross.
        far = sorted(range(len(ends)), key=lambda i: -abs(ends[i].box.middle[0] - exits[i]))
        for lane, i in enumerate(far):
            end, rack = ends[i], racks[ends[i].rack]
            y = top + level * RIBBON + lane * apart
            target = end.box.middle[0] - end.box.width * 0.32
            points: list[Point] = [(exits[i], box.bottom), (exits[i], y)]
            if rack.y > first_row:
                row = round((rack.y - first_row) / rack.height)
                aside = rack.x - 5 - 4 * row if level == 0 else rack.right + 5 + 4 * row
                turn = rack.y - 16 - 6 * level
                points += [(aside, y), (aside, turn), (target, turn)]
            else:
                points.append((target, y))
            points.append((target, rack.y))
            way = lines[controller, end.rack]
            cables = tuple(n for n in way if plant.parts[n].kind == "cable")
            led.append(Strand(end.rack, controller, way, cables, tuple(points)))
    return tuple(led)


def feeds(plant: Plant, boxes: Mapping[str, Box], supplies: Mapping[str, Box]) -> list[Wire]:
    """Lead the feeds: beside each other in the row of supplies, or down to what they feed.

    Parameters
    ----------
    plant : Plant
        The plant.
    boxes, supplies : mapping of str to Box
        Places of all parts, and of those that feed.

    >>> from labkit.plant.plant import load_plant
    >>> feeds(load_plant(), {}, {})
    []
    """
    wires = []
    for name, box in supplies.items():
        fed = [n for n, p in plant.parts.items() if name in p.fed_by and n in boxes]
        lines: list[tuple[Point, ...]] = []
        for other in fed:
            end = boxes[other]
            start = box.middle[0]
            left, right = (box, end) if box.x < end.x else (end, box)
            between = any(left.right < each.x < right.x - 1 for each in supplies.values())
            if other in supplies and not between:
                lines.append(((left.right, left.middle[1]), (right.x, right.middle[1])))
                continue
            if other in supplies:
                turn, into, stop = box.bottom + 7, end.middle[0] - 12, end.bottom
            else:
                feeders = [f for f in plant.parts[other].fed_by if f in supplies]
                into = end.middle[0] + 18 * (feeders.index(name) - (len(feeders) - 1) / 2)
                turn, stop = box.bottom + 10, end.y
            lines.append(((start, box.bottom), (start, turn), (into, turn), (into, stop)))
        if lines:
            wires.append(Wire(name, "feed", tuple(lines), box.middle, (name, *fed)))
    return wires


def sync_wire(name: str, part: PlantPart, controllers: Mapping[str, Box],
              level: float) -> Wire | None:
    """Lead a cable that joins controllers only; None for any other.

    Parameters
    ----------
    name : str
        Designation of the cable.
    part : PlantPart
        The cable.
    controllers : mapping of str to Box
        Places by designation.
    level : float
        Height of the wire, in grid units.

    >>> part = PlantPart("WF9", "sync cable", "cable", 300_000, 6, joins=("KF1", "KF2"))
    >>> sync_wire("WF9", part, {"KF1": Box(0, 0, 9, 9), "KF2": Box(20, 0, 9, 9)}, 5).lines
    (((9, 5), (20, 5)),)
    """
    if len(part.joins) < 2 or not set(part.joins) <= set(controllers):
        return None
    ends = sorted(part.joins, key=lambda n: controllers[n].x)
    lines = tuple(((controllers[a].right, level), (controllers[b].x, level))
                  for a, b in pairwise(ends))
    middle = (lines[0][0][0] + lines[0][1][0]) / 2
    return Wire(name, "sync", lines, (middle, level - 9), tuple(ends))


def bus_wire(name: str, part: PlantPart, controllers: Mapping[str, Box],
             side: Mapping[str, Box], lane: float) -> Wire | None:
    """Lead a cable that is no link: over the controllers, or down the side.

    Parameters
    ----------
    name : str
        Designation of the cable.
    part : PlantPart
        The cable.
    controllers, side : mapping of str to Box
        Places by designation.
    lane : float
        Height of the lane over the controllers, in grid units.

    Returns
    -------
    Wire or None
        None where it joins nothing that is drawn there.

    >>> part = PlantPart("WF4", "panel bus", "cable", 400_000, 6, joins=("TF1", "PH1"))
    >>> bus_wire("WF4", part, {}, {"TF1": Box(0, 0, 10, 10), "PH1": Box(0, 30, 10, 10)}, 5).lines
    (((5.0, 10), (5.0, 30)),)
    """
    ends = [n for n in part.joins if n in controllers or n in side]
    at = [n for n in ends if n in controllers]
    beside = sorted((n for n in ends if n in side), key=lambda n: side[n].y)
    lines: list[tuple[Point, ...]] = []
    label = None
    if at and beside:
        target = side[beside[0]]
        # Where its lane meets the plate the cable enters from the left, else from above.
        aside = target.y < lane < target.bottom
        end = (target.x if aside else target.middle[0], lane)
        for controller in at:
            start = controllers[controller].right - 26
            lines.append(((start, controllers[controller].y), (start, lane), end,
                          *([] if aside else [(target.middle[0], target.y)])))
        label = (target.x - 8, lane - 7)
    for upper, lower in pairwise(beside):
        x = side[upper].middle[0]
        lines.append(((x, side[upper].bottom), (x, side[lower].y)))
        label = label or (x + 14, (side[upper].bottom + side[lower].y) / 2 + 5)
    return Wire(name, "bus", tuple(lines), label, tuple(ends)) if label else None
