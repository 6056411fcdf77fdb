"""Everything in the picture of a plant has a place of its own, whatever the plant."""

from itertools import combinations

import pytest

from labkit.plant.plant import Plant, load_plant
from labkit.plant.plant_data import PairData, PlantPart
from lessons.pictures.geometry import Box
from lessons.pictures.layout import layout_of


def part(designation, kind, *, fed_by=(), joins=()):
    return PlantPart(designation, f"{kind} {designation}", kind, 100_000, 4, fed_by=tuple(fed_by),
                     joins=tuple(joins))


def plant_of(controllers, racks, *, supplies=1, fields=2, panel=True, loose=0):
    """Make up a plant of any size with parts of all kinds."""
    units = [f"KF{i + 1}" for i in range(controllers)]
    feeds = [f"TB{i + 1}" for i in range(supplies)]
    parts = [part(unit, "controller", fed_by=feeds) for unit in units]
    parts += [part(feed, "supply", fed_by=[feed.replace("TB", "GB")]) for feed in feeds]
    parts += [part(feed.replace("TB", "GB"), "ups") for feed in feeds]
    for i in range(racks):
        rack = f"KF{10 * (i + 1)}"
        parts.append(part(rack, "rack"))
        for k, unit in enumerate(units):
            end = f"{rack}{'ABC'[k]}"
            parts.append(part(end, "interface", joins=[rack]))
            parts.append(part(f"WF{k + 1}.{10 * (i + 1)}", "cable", joins=[unit, end]))
        parts += [part(f"BL{i}.{k}", "sensor", joins=[rack]) for k in range(fields)]
    if controllers > 1:
        parts.append(part("WF90", "cable", joins=units))
    if panel:
        parts += [part("WF93", "cable", joins=[*units, "TF1"]), part("TF1", "repeater"),
                  part("WF94", "cable", joins=["TF1", "PH1"]), part("PH1", "panel")]
    parts += [part(f"XX{i}", "other") for i in range(loose)]
    return Plant("made up", {each.designation: each for each in parts}, {},
                 pair=PairData(tuple(units), ("WF90",)) if controllers == 2 else None)


PLANTS = {
    "of the lessons": load_plant(),
    "one controller, one rack": plant_of(1, 1, panel=False, fields=0),
    "one controller, three racks": plant_of(1, 3),
    "pair, no rack": plant_of(2, 0, panel=False),
    "pair, one rack": plant_of(2, 1, loose=1),
    "pair, doubled supply": plant_of(2, 4, supplies=2),
    "pair, five racks": plant_of(2, 5),
    "pair, nine racks": plant_of(2, 9, fields=8, loose=7),
    "three controllers": plant_of(3, 3, supplies=3),
    "no supply": plant_of(2, 2, supplies=0),
    "empty": Plant("empty", {}, {}),
}

every_plant = pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())


def overlap(one, other):
    return (one.x < other.right - 1e-9 and other.x < one.right - 1e-9
            and one.y < other.bottom - 1e-9 and other.y < one.bottom - 1e-9)


def inside(inner, outer):
    return (outer.x <= inner.x and inner.right <= outer.right + 1e-9
            and outer.y <= inner.y and inner.bottom <= outer.bottom + 1e-9)


def pieces(points):
    return list(zip(points, points[1:]))


def crosses(box, piece):
    (x0, y0), (x1, y1) = piece
    return (min(x0, x1) < box.right - 0.5 and max(x0, x1) > box.x + 0.5
            and min(y0, y1) < box.bottom - 0.5 and max(y0, y1) > box.y + 0.5)


@every_plant
def test_every_part_is_drawn_once(plant):
    places = layout_of(plant)
    drawn = [*places.boxes, *(wire.name for wire in places.wires if wire.kind != "feed")]
    drawn += {name for strand in places.strands for name in strand.cables}
    drawn += [socket.interface for socket in places.sockets if socket.interface]
    assert sorted(drawn) == sorted(plant.parts)


@every_plant
def test_plates_do_not_overlap_and_stay_inside(plant):
    places = layout_of(plant)
    plates = {name: box for name, box in places.boxes.items() if name not in places.fields}
    assert [pair for pair in combinations(plates, 2) if overlap(*map(plates.get, pair))] == []
    whole = Box(0, 0, places.width, places.height)
    assert [name for name, box in places.boxes.items() if not inside(box, whole)] == []


@every_plant
def test_sockets_and_field_parts_stay_inside_their_rack(plant):
    places = layout_of(plant)
    small = [socket.box for socket in places.sockets] + list(places.fields.values())
    assert all(sum(inside(box, rack) for rack in places.racks.values()) == 1 for box in small)
    assert not [pair for pair in combinations(small, 2) if overlap(*pair)]


@every_plant
def test_each_link_leads_from_its_controller_into_its_socket(plant):
    places = layout_of(plant)
    assert {(s.controller, s.rack) for s in places.strands} == set(plant.lines())
    for strand in places.strands:
        (x0, y0), (x1, y1) = strand.points[0], strand.points[-1]
        controller = places.controllers[strand.controller]
        socket = next(s.box for s in places.sockets
                      if (s.rack, s.controller) == (strand.rack, strand.controller))
        assert controller.x < x0 < controller.right and y0 == controller.bottom
        assert socket.x < x1 < socket.right and y1 == places.racks[strand.rack].y


@every_plant
def test_no_wire_runs_behind_a_plate(plant):
    places = layout_of(plant)
    plates = {name: box for name, box in places.boxes.items() if name not in places.fields}
    hidden = [
        (strand.cables, name)
        for strand in places.strands for piece in pieces(strand.points)
        for name, box in plates.items() if crosses(box, piece)
    ]
    hidden += [
        (wire.name, name)
        for wire in places.wires for points in wire.lines for piece in pieces(points)
        for name, box in plates.items() if crosses(box, piece)
    ]
    assert hidden == []


@every_plant
def test_strands_of_one_ribbon_do_not_cross_above_the_first_row(plant):
    places = layout_of(plant)
    first = min((box.y for box in places.racks.values()), default=0)
    for one, other in combinations(places.strands, 2):
        if one.controller != other.controller:
            continue
        if places.racks[one.rack].y > first or places.racks[other.rack].y > first:
            continue
        for (ax, ay), (bx, by) in pieces(one.points):
            for (cx, cy), (dx, dy) in pieces(other.points):
                flat, upright = ((ax, ay, bx, by), (cx, cy, dx, dy))
                if ay != by:
                    flat, upright = upright, flat
                if flat[1] != flat[3] or upright[0] != upright[2]:
                    continue
                over = min(flat[0], flat[2]) < upright[0] < max(flat[0], flat[2])
                through = min(upright[1], upright[3]) < flat[1] < max(upright[1], upright[3])
                assert not (over and through), (one.cables, other.cables)


def test_feeders_stand_beside_what_they_feed():
    places = layout_of(plant_of(2, 3, supplies=2))
    order = sorted(places.supplies, key=lambda name: places.supplies[name].x)
    assert order == ["GB1", "TB1", "TB2", "GB2"]
