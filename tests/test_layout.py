"""Everything in the picture of a plant has a place of its own, whatever the plant."""

import re
import tomllib
import xml.etree.ElementTree as ET
from functools import cache
from importlib.resources import files
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from labkit.plant.plant import Plant, build, load_plant
from labkit.plant.plant_data import PairData, PlantPart
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from lessons.pictures.figure import slide_svg
from lessons.pictures.geometry import Box
from lessons.pictures.layout import NARROW, WIDE, layout_of, reading_order, room_of
from lessons.pictures.plant_picture import PlantPicture, plant_svg, slide_width
from lessons.pictures.svg import text_width
from tests.plants import PAIR, SINGLE


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


def ring_of(switches, racks):
    """Make up a pair whose racks hang on a ring of switches, with two panels and two sync cables."""
    names = [f"KS{i + 1}" for i in range(switches)]
    parts = [part("KF1", "controller", fed_by=["TB1", "TB2"]),
             part("KF2", "controller", fed_by=["TB1", "TB2"]),
             part("TB1", "supply", fed_by=["GB1"]), part("TB2", "supply"), part("GB1", "ups"),
             *(part(name, "switch", fed_by=["TB2"] * (name == "KS1")) for name in names),
             part("WF1", "cable", joins=["KF1", names[0]]),
             part("WF2", "cable", joins=["KF2", names[-1]]),
             part("WF91", "cable", joins=["KF1", "KF2"]),
             part("WF92", "cable", joins=["KF1", "KF2"]),
             part("WF3", "cable", joins=["KF1", "KF2", "TF1"]), part("TF1", "repeater"),
             part("WF4", "cable", joins=["TF1", "PH1"]), part("PH1", "panel"),
             part("WF5", "cable", joins=["TF1", "PH2"]), part("PH2", "panel")]
    parts += [part(f"WF1{i}", "cable", joins=[name, names[(i + 1) % switches]])
              for i, name in enumerate(names)]
    for i in range(racks):
        rack = f"KF{10 * (i + 1)}"
        parts += [part(rack, "rack"), part(f"{rack}A", "interface", joins=[rack]),
                  part(f"WF2{i}", "cable", joins=[names[i % switches], f"{rack}A"]),
                  part(f"GP{i}", "pump", joins=[rack])]
    return Plant("a ring", {each.designation: each for each in parts}, {},
                 pair=PairData(("KF1", "KF2"), ("WF91", "WF92")))


def chain_of(racks):
    """Make up a controller whose racks hang one behind the other on their interfaces."""
    parts = [part("KF1", "controller", fed_by=["TB1"]), part("TB1", "supply")]
    for i in range(racks):
        rack, before = f"KF{10 * (i + 1)}", f"KF{10 * i}A" if i else "KF1"
        parts += [part(rack, "rack"), part(f"{rack}A", "interface", joins=[rack]),
                  part(f"WF{i + 1}", "cable", joins=[before, f"{rack}A"])]
    return Plant("a chain", {each.designation: each for each in parts}, {})


def cabled():
    """Make up a pair whose rack has one interface for both, a cable away."""
    parts = [part("KF1", "controller"), part("KF2", "controller"), part("KF10", "rack"),
             part("KF10A", "interface"), part("WF1", "cable", joins=["KF1", "KF10A"]),
             part("WF2", "cable", joins=["KF2", "KF10A"]),
             part("WF3", "cable", joins=["KF10A", "KF10"]),
             part("WF9", "cable", joins=["KF1", "KF2"])]
    return Plant("cabled", {each.designation: each for each in parts}, {},
                 pair=PairData(("KF1", "KF2"), ("WF9",)))


def dropped():
    """Make up a pair on one cable of many taps, which rack and panel hang on; another on a switch."""
    parts = [part("KF1", "controller", fed_by=["TB1"]), part("KF2", "controller", fed_by=["TB2"]),
             part("TB1", "supply"), part("TB2", "supply"), part("KF10", "rack"), part("PH1", "panel"),
             part("WF1", "cable", joins=["KF1", "KF2", "KF10", "PH1"]), part("KS1", "switch"),
             part("WF2", "cable", joins=["KF1", "KF2", "KS1"]), part("KF20", "rack"),
             part("PH2", "panel"), part("WF3", "cable", joins=["KS1", "KF20", "PH2"]),
             part("WF9", "cable", joins=["KF1", "KF2"])]
    return Plant("dropped", {each.designation: each for each in parts}, {},
                 pair=PairData(("KF1", "KF2"), ("WF9",)))


def large():
    """Make of the plant of the lessons one of 159 parts: fourteen racks more, each in a house."""
    document = tomllib.loads((files("labkit.plant") / "files" / "brackenquay.toml").read_text("utf-8"))
    common = {"mtbf_h": 100_000, "mttr_h": 4}
    for i in range(14):
        rack, place = f"KF{100 + 10 * i}", f"house {i + 1}"
        document["part"] += [
            {"designation": rack, "what": "rack", "kind": "rack", "place": place, **common},
            *({"designation": f"{rack}{side}", "what": "interface", "kind": "interface",
               "joins": [rack], **common} for side in "AB"),
            *({"designation": f"WF{k}.{rack[2:]}", "what": "link", "kind": "cable",
               "joins": [f"KF{k}", f"{rack}{' AB'[k]}"], **common} for k in (1, 2)),
            *({"designation": f"{letters}{rack[2:]}", "what": kind, "kind": kind, "joins": [rack],
               **common} for letters, kind in zip(
                   ("BL", "GP", "GQ", "BQ"), ("sensor", "pump", "blower", "analyser")))]
    return build(document)


FOLDER = Path(__file__).parent / "plant_files"


def two_pairs(*, more=0, shared=False, direct=False):
    """Make of the lock a plant whose second pair has a sync cable and racks with interfaces.

    The third controller comes to its rack by a switch. `more` racks hang on the second pair,
    `shared` puts all controllers and a panel on one cable, `direct` wires the second pair without one.
    """
    document = tomllib.loads((FOLDER / "sallow_lock.toml").read_text("utf-8"))
    added = {"WF8": ("cable", ["KF3", "KF4"]), "KS1": ("switch", []), "WF5": ("cable", ["KF5", "KS1"]),
             "WF6": ("cable", ["KS1", "KF50"])}
    if shared:
        added |= {"PH1": ("panel", []), "WF7": ("cable", ["KF1", "KF2", "KF3", "KF4", "KF5", "PH1"])}
    if direct:
        del added["WF8"]
        document["part"] = [each for each in document["part"] if each["designation"] not in ("WF3", "WF4")]
    racks = [f"KF{60 + 10 * i}" for i in range(more)]
    for rack in racks:
        added[rack] = ("rack", [])
        for unit, side in (("KF3", "A"), ("KF4", "B")):
            added[rack + side] = ("interface", [rack])
            added[f"WF{unit[2:]}.{rack[2:]}"] = ("cable", [unit, rack + side])
        added |= {f"BL{rack[2:]}.{i}": ("sensor", [rack]) for i in range(3)}
    for each in document["part"]:
        if each["designation"] == "KF5":
            del each["joins"]
        if each["designation"] in ("KF3", "KF4") and direct:
            each["joins"] = ["KF30", "KF3"][:1 + (each["designation"] == "KF4")]
    document["part"] += [{"designation": name, "what": f"{kind} {name}", "kind": kind, "joins": joins,
                          "mtbf_h": 100_000, "mttr_h": 4} for name, (kind, joins) in added.items()]
    for each in document["function"]:
        if each["name"] == "reach filled":
            each["reached"] += racks
    return build(document)


PLANTS = {
    "of the lessons": load_plant(),
    "one controller, a repeater on the way": load_plant("elderhang"),
    "the smallest": load_plant("mirelow"),
    "a ring of four switches": ring_of(4, 4),
    "a ring of eight switches": ring_of(8, 8),
    "a chain": chain_of(4),
    "a chain of 30": chain_of(30), "a chain of 45": chain_of(45), "a chain of 60": chain_of(60),
    "a ring of 24": ring_of(24, 24),
    "an interface behind a cable": cabled(),
    "cables of many taps": dropped(),
    "one controller, one rack": plant_of(1, 1, panel=False, fields=0),
    "one controller, three racks": plant_of(1, 3),
    "pair, no rack": plant_of(2, 0, panel=False),
    "pair, one rack": plant_of(2, 1, loose=1),
    "pair, doubled supply": plant_of(2, 4, supplies=2),
    "pair, five racks": plant_of(2, 5),
    "pair, nine racks": plant_of(2, 9, fields=8, loose=7),
    "three controllers": plant_of(3, 3, supplies=3),
    "no supply": plant_of(2, 2, supplies=0),
    "of 159 parts": large(),
    "panels on a ring": load_plant(FOLDER / "heat_station.toml"),
    "panels on switches": load_plant(FOLDER / "osier_weir.toml"),
    "a supply of switch, rack and panel": load_plant(FOLDER / "seed_dryer.toml"),
    "a second pair": load_plant(FOLDER / "sallow_lock.toml"),
    "a second pair with a sync cable": two_pairs(),
    "two pairs on one cable": two_pairs(shared=True),
    "a second pair without cables": two_pairs(direct=True),
    "a second pair with three racks": two_pairs(more=2, shared=True),
    "a second pair, by rooms": two_pairs(more=6),
    "one controller of a pair gone": load_plant(FOLDER / "sallow_lock.toml").variant(
        "one controller at the pumps"),
    "a single one beside another": load_plant(FOLDER / "sallow_lock.toml").variant(
        "one controller at the gates"),
    "empty": Plant("empty", {}, {}),
}
WIDTHS = (WIDE, NARROW, 770.0, 412.0)

# Each picture is laid out once for all that is asked of it.
placed = cache(layout_of)

every_plant = pytest.mark.parametrize("plant", PLANTS.values(), ids=PLANTS.keys())
every_width = pytest.mark.parametrize("width", WIDTHS)


def overlap(one, other):
    return (one.x < other.right - 1e-9 and other.x < one.right - 1e-9
            and one.y < other.bottom - 1e-9 and other.y < one.bottom - 1e-9)


def inside(inner, outer):
    return (outer.x <= inner.x + 1e-9 and inner.right <= outer.right + 1e-9
            and outer.y <= inner.y + 1e-9 and inner.bottom <= outer.bottom + 1e-9)


def crosses(box, piece):
    (x0, y0), (x1, y1) = piece
    return (min(x0, x1) < box.right - 0.5 and max(x0, x1) > box.x + 0.5
            and min(y0, y1) < box.bottom - 0.5 and max(y0, y1) > box.y + 0.5)


@every_width
@every_plant
def test_everything_that_can_fail_has_one_place(plant, width):
    places = placed(plant, width)
    drawn = [*places.plates, *places.fields, *places.labels, *places.sockets,
             *(places.racks if places.rooms else ())]
    assert len(drawn) == len(set(drawn))
    assert set(plant.parts) <= set(drawn)
    assert {fault.unit for fault in faults_of(plant).values()} <= set(drawn)


@every_width
@every_plant
def test_plates_and_names_do_not_overlap_and_stay_inside(plant, width):
    places = placed(plant, width)
    apart = {**places.plates, **places.labels}
    assert [pair for pair in combinations(apart, 2) if overlap(*map(apart.get, pair))] == []
    whole = Box(0, 0, places.width, places.height)
    assert [name for name, box in apart.items() if not inside(box, whole)] == []


@every_width
@every_plant
def test_sockets_and_field_parts_stay_inside_their_rack(plant, width):
    places = placed(plant, width)
    for rack, plate in places.racks.items():
        small = [socket.box for socket in places.sockets.values() if socket.rack == rack]
        small += [box for name, box in places.fields.items() if name in plant.neighbours[rack]]
        assert all(inside(box, plate) for box in small)
        assert not [pair for pair in combinations(small, 2) if overlap(*pair)]


@every_width
@every_plant
def test_each_cable_is_drawn_once_from_part_to_part(plant, width):
    places = placed(plant, width)
    named = [cable.name for cable in places.cables if cable.label]
    assert sorted(named) == sorted(
        name for name, each in plant.parts.items() if each.kind == "cable")
    boxes = {**places.plates, **{name: socket.box for name, socket in places.sockets.items()}}
    if places.rooms:
        boxes |= {rack: places.rooms[room_of(rack)] for rack in places.racks}
        boxes |= {name: boxes[socket.rack] for name, socket in places.sockets.items()}
    for cable in places.cables:
        for end in cable.ends:
            if end not in boxes:  # what feeds a part in the field has no line to it
                assert cable.kind == "feed"
                continue
            box = boxes[end]
            near = [point for points in cable.lines for point in points
                    if box.x - 1 <= point[0] <= box.right + 1
                    and box.y - 7 <= point[1] <= box.bottom + 1]
            assert near, (cable.name, end)


@every_width
@every_plant
def test_the_name_of_a_supply_ends_on_its_plate(plant, width):
    # White words on a dark plate cannot be read beside it.
    places = placed(plant, width)
    assert [name for name, box in places.supplies.items()
            if 8 + 0.96 * text_width(name, 16, bold=True) > box.width] == []


@every_width
@every_plant
def test_no_wire_runs_behind_a_plate(plant, width):
    places = placed(plant, width)
    hidden = [(cable.name, name) for cable in places.cables for points in cable.lines
              for piece in pairwise(points) for name, box in places.plates.items()
              if crosses(box, piece)]
    assert hidden == []


@every_width
@every_plant
def test_no_wire_runs_through_the_name_of_another(plant, width):
    places = placed(plant, width)
    through = [(cable.name, name) for cable in places.cables for points in cable.lines
               for piece in pairwise(points) for name, box in places.labels.items()
               if name != cable.name and crosses(box, piece)]
    assert through == []


SVG = "{http://www.w3.org/2000/svg}"


@cache
def drawn_of(plant, width):
    """Return the picture of a healthy plant."""
    return plant_svg(plant, Switchover(plant).snapshot(), width=width)


def words_of(svg):
    """Return the boxes of all words that are shown, and the words."""
    found = []
    for node in ET.fromstring(svg).iter(f"{SVG}text"):
        if not node.text:
            continue
        size = float(re.search(r"font-size:([\d.]+)px", node.get("style", "font-size:15px"))[1])
        bold = "b" in node.get("class", "").split() or "tt" in node.get("class", "").split()
        width = text_width(node.text, size, bold=bold) * 0.96
        x = float(node.get("x")) - {"start": 0, "middle": width / 2, "end": width}[
            node.get("text-anchor", "start")]
        assert size >= 12.6
        found.append((node.text, Box(x, float(node.get("y")) - 0.72 * size, width, 0.72 * size)))
    return found


@every_width
@every_plant
def test_no_words_overlap_or_are_cut_off(plant, width):
    svg = PlantPicture(plant, width, process=False)
    drawn = drawn_of(plant, width)
    words = words_of(drawn)
    whole = Box(0, 0, svg.layout.width, svg.layout.height)
    assert [said for said, box in words if not inside(box, whole)] == []
    assert [(a[0], b[0]) for a, b in combinations(words, 2) if overlap(a[1], b[1])] == []


@every_width
def test_an_opened_rack_stands_inside_the_picture_and_its_words_apart(width):
    picture = PlantPicture(PLANTS["of 159 parts"], width)
    whole = Box(0, 0, picture.layout.width, picture.layout.height)
    opened = ET.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg">{picture.opened}</svg>')
    assert len(opened) == 17
    for each in opened:
        words = words_of(ET.tostring(each))
        rack = next(box for name, box in picture.layout.racks.items()
                    if each.get("data-inside") == room_of(name))
        room = picture.layout.rooms[each.get("data-inside")]
        assert inside(rack, whole) and not overlap(rack, room)
        assert [said for said, box in words if not inside(box, rack)] == []
        assert [(a[0], b[0]) for a, b in combinations(words, 2) if overlap(a[1], b[1])] == []


@every_plant
def test_no_words_overlap_on_a_slide(plant):
    # Type is enlarged there, but not beyond the room beside it.
    words = words_of(slide_svg(drawn_of(plant, slide_width(plant)), "light", "a plant"))
    assert [(a[0], b[0]) for a, b in combinations(words, 2) if overlap(a[1], b[1])] == []


@every_width
@every_plant
def test_what_is_wrong_with_a_part_covers_no_name(plant, width):
    drawn = drawn_of(plant, width)
    # what a part is gives way to what is wrong with it
    without = re.sub(r'<text[^>]* class="[^"]*\bwhat".*?</text>', "", drawn)
    names = [(said, box) for said, box in words_of(without) if said in plant.parts]
    tags = [Box(float(node.get("x")), float(node.get("y")), 17.0, 17.0)
            for node in ET.fromstring(drawn).iter(f"{SVG}rect")
            if node.get("data-s", "").endswith(".mr")]
    assert bool(tags) == bool(plant.parts)
    assert [said for said, box in names if any(overlap(box, tag) for tag in tags)] == []


def test_strands_of_one_ribbon_do_not_cross():
    places = layout_of(load_plant())
    links = [cable for cable in places.cables if cable.kind == "link"]
    for one, other in combinations(links, 2):
        if one.ends[0] != other.ends[0]:
            continue
        for (ax, ay), (bx, by) in pairwise(one.lines[0]):
            for (cx, cy), (dx, dy) in pairwise(other.lines[0]):
                flat, upright = ((ax, ay, bx, by), (cx, cy, dx, dy))
                if ay != by:
                    flat, upright = upright, flat
                if flat[1] != flat[3] or upright[0] != upright[2]:
                    continue
                over = min(flat[0], flat[2]) < upright[0] < max(flat[0], flat[2])
                through = min(upright[1], upright[3]) < flat[1] < max(upright[1], upright[3])
                assert not (over and through), (one.name, other.name)


def test_feeders_stand_above_what_they_feed_and_parts_are_read_in_order():
    places = layout_of(plant_of(2, 3, supplies=2))
    assert sorted(places.supplies, key=lambda name: places.supplies[name].y) == [
        "GB1", "TB1", "GB2", "TB2"]
    order = reading_order(layout_of(load_plant()).plates)
    assert order.index("KF1") < order.index("KF2") < order.index("TF1") < order.index("KF10")


def test_the_plant_of_the_lessons_leaves_room_for_what_stands_around_it():
    # 600 px for a panel of 1290, 640 px for one of 980: see tests/test_browser.py for the whole.
    assert layout_of(load_plant(), WIDE).height < 330
    assert layout_of(load_plant(), NARROW).height < 350


def test_long_designations_are_cut_at_their_beginning_and_marks_stay_inside():
    """Designations as IEC 81346 makes them (common practice); the mark of a unit is 13 high, above its plate."""
    assert layout_of(build(tomllib.loads(SINGLE), "single"), NARROW).controllers["A1"].y >= 13
    feed = '[[part]]\ndesignation = "TB1"\nwhat = "supply"\nkind = "supply"\nmtbf_h = 250000\nmttr_h = 3\n'
    text = (SINGLE + PAIR + feed).replace('kind = "controller"', 'kind = "controller"\nfed_by = ["TB1"]')
    for name in ("A1", "A2", "TB1"):
        text = text.replace(f'"{name}"', f'"=WTR01.PUMP++EAST.H2+CABINET07-{name}"')
    picture = PlantPicture(build(tomllib.loads(text), "long"), NARROW)
    words = words_of(plant_svg(picture.plant, Switchover(picture.plant).snapshot(), width=NARROW))
    for name in ("A1", "A2", "TB1"):
        (said, box), = [each for each in words if each[0].endswith(f"-{name}")]
        assert said.startswith("…")
        plate, = [plate for key, plate in picture.layout.plates.items() if key.endswith(f"-{name}")]
        assert inside(box, plate)
    assert [(a[0], b[0]) for a, b in combinations(words, 2) if overlap(a[1], b[1])] == []
