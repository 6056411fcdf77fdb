"""The plant on the screen: its parts, wires, lamps and faults as SVG text.

A pure function of the plant and the state that is shown. A live strand is thick where its
controller owns the rack, thin where data pass only, and dashed where nothing passes; a red cross
and a word mark what is broken. Lamps follow `labkit.lamps`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from labkit import plates
from labkit.faults import Fault, faults_of
from labkit.geometry import Layout, Strand, Wire
from labkit.lamps import Lamp, lamps_of
from labkit.layout import layout_of
from labkit.plant import Plant
from labkit.roles import Role, Snapshot
from labkit.svg import cross, document, lamp, line, rectangle, tag, text, text_width

__all__ = ["broken_words", "plant_alt_text", "plant_svg"]

def broken_words(faults: Iterable[Fault]) -> dict[str, str]:
    """Return for each broken part the word that says how.

    Parameters
    ----------
    faults : iterable of Fault
        The faults that are switched on.

    Returns
    -------
    dict of str to str
        Designation to word, such as 'no power'; several words are joined.

    Examples
    --------
    >>> from labkit.plant import load_plant
    >>> broken_words([faults_of(load_plant())["KF1: no power"]])
    {'KF1': 'no power'}
    """
    words: dict[str, list[str]] = {}
    for fault in faults:
        place, _, how = fault.id.partition(": ")
        for name in sorted(fault.breaks) or [place]:
            if how not in words.setdefault(name, []):
                words[name].append(how)
    return {name: ", ".join(each) for name, each in words.items()}


def plant_alt_text(plant: Plant, snapshot: Snapshot, *, marks: bool = True) -> str:
    """Say in at most 60 words what the picture of the plant shows.

    Parameters
    ----------
    plant : Plant
        The plant.
    snapshot : Snapshot
        Its state.
    marks : bool
        Whether it says what is broken, as the picture then does.

    Returns
    -------
    str

    Examples
    --------
    >>> from labkit.plant import load_plant
    >>> from labkit.switchover import Switchover
    >>> plant = load_plant()
    >>> plant_alt_text(plant, Switchover(plant).snapshot())[:33]
    'Plant picture. KF1 active, KF2 st'
    """
    roles = ", ".join(f"{unit} {role.value}" for unit, role in snapshot.roles.items())
    said = [f"Plant picture. {roles}."]
    owners: dict[str | None, list[str]] = {}
    for rack, owner in snapshot.owners.items():
        owners.setdefault(owner, []).append(rack)
    for owner, racks in owners.items():
        which = f"all {len(racks)} racks" if len(racks) == len(snapshot.owners) > 1 \
            else ", ".join(racks)
        said.append(f"{owner} writes {which}." if owner else f"Nobody writes {which}.")
    dead = [f"{unit} to {rack}" for (rack, unit), passes in snapshot.links.items() if not passes]
    if dead:
        said.append(f"No data on {len(dead)} of {len(snapshot.links)} links.")
    if marks:
        faults = "; ".join(sorted(snapshot.faults))
        said.append(f"Broken: {faults}." if faults else "Nothing broken.")
    words = " ".join(said).split()
    return " ".join(words if len(words) <= 60 else [*words[:59], "…"])


def _wire(wire: Wire, snapshot: Snapshot, broken: str | None) -> tuple[str, str]:
    """Draw a cable or a feed, and the mark on it."""
    if wire.kind == "feed":
        return "".join(line(points, "feed") for points in wire.lines), ""
    sync = wire.kind == "sync"
    # A whole sync cable carries nothing while a partner does not hear the other.
    heard = snapshot.sync_ok and not snapshot.silent and Role.OFF not in snapshot.roles.values()
    live = not broken and (heard or not sync)
    kind = "dead" if not live else "wire" if sync else "idle"
    x, y = wire.label
    upright = all(points[0][0] == points[-1][0] for points in wire.lines)
    anchor = "middle" if sync else "start" if upright else "end"
    words = f"{wire.name} sync" if sync else wire.name
    drawn = [line(points, kind) for points in wire.lines]
    drawn.append(text(x, y, words, "b over", anchor=anchor))
    if not broken:
        return "".join(drawn), ""
    width = text_width(words, bold=True)
    (x0, y0), (x1, y1) = wire.lines[-1][-2:]
    if sync:
        at = ((x0 + x1) / 2, y0)
        marked = tag(x, y + 20, broken, anchor="middle", most=100)
    elif upright:
        at = (x0, (y0 + y1) / 2)
        marked = tag(x + width + 6, y - 17, broken, most=150)
    else:
        at = (x - width / 2, wire.lines[-1][1][1])
        marked = tag(x - width - 6, y - 17, broken, anchor="end", most=170)
    return "".join(drawn), cross(*at) + marked


def _strand(strand: Strand, snapshot: Snapshot, broken: Mapping[str, str]) -> tuple[str, str]:
    """Draw the way from a controller to a rack, and the mark on it."""
    passes = snapshot.links.get((strand.rack, strand.controller), False)
    owns = snapshot.owners.get(strand.rack) == strand.controller
    kind = "dead" if not passes else "wire" if owns else "idle"
    x, y = strand.points[-1]
    words = "+".join(strand.cables)
    cut = [broken[name] for name in strand.cables if name in broken]
    left = x + (15 if cut else 9)
    drawn = line(strand.points, "halo") + line(strand.points, kind)
    drawn += text(left, y - 7, words, "b", size=14)
    if not cut:
        return drawn, ""
    at = left + 5 + text_width(words, 14, bold=True)
    return drawn, cross(x, y - 13) + tag(at, y - 24, cut[0], size=14)


def _plates(plant: Plant, places: Layout, snapshot: Snapshot, lamps: Mapping[str, list[Lamp]],
            broken: Mapping[str, str]) -> list[str]:
    """Draw the front plates of all parts."""
    what = {name: part.what for name, part in plant.parts.items()}
    letters = {s.controller: s.letter for s in places.sockets}
    drawn = []
    for name, box in places.controllers.items():
        drawn.append(plates.controller_plate(name, what[name], box, snapshot, lamps.get(name, ())))
        if name in letters:
            drawn.append(text(box.middle[0] + 22, box.bottom + 17, f"link {letters[name]}", "b"))
    for name, box in {**places.supplies, **places.chips}.items():
        drawn.append(plates.plain_plate(name, what[name], box))
    for name, box in places.side.items():
        drawn.append(plates.lamp_plate(name, what[name], box, lamps.get(name, ())))
    for name, box in places.racks.items():
        drawn.append(plates.rack_plate(name, what[name], box, snapshot))
    for socket in places.sockets:
        unit = snapshot.link_units.get((socket.rack, socket.controller), "")
        drawn.append(plates.socket_plate(socket, lamps.get(unit, ()), broken.get(socket.interface)))
    for name, box in places.fields.items():
        drawn.append(plates.field_plate(name, plant.parts[name], box, broken.get(name)))
    return drawn


def _next_mark(name: str, places: Layout) -> str:
    """Draw the mark of a part whose failure would stop a function next."""
    interfaces = {s.interface: s.box for s in places.sockets}
    box = places.boxes.get(name) or interfaces.get(name)
    if box:
        size = 7 if name in places.fields or name in interfaces else 10
        frame = rectangle(box.x - 2, box.y - 2, box.width + 4, box.height + 4, "weak", 8)
        x, y = box.right - 5, box.y + 1
        return frame + lamp(x, y, "triangle", "yellow", lit=True, reach=size)
    spots = [s.points[-1] for s in places.strands if name in s.cables]
    spots += [(w.label[0], w.label[1] + 7) for w in places.wires if w.name == name]
    return "".join(lamp(x, y - 24, "triangle", "yellow", lit=True, reach=8) for x, y in spots)


def plant_svg(plant: Plant, snapshot: Snapshot, *, layout: Layout | None = None,
              faults: Mapping[str, Fault] | None = None, marks: bool = True,
              weak: Iterable[str] = (), still: bool = False, standalone: bool = False) -> str:
    """Draw the plant in its present state.

    Parameters
    ----------
    plant : Plant
        The plant.
    snapshot : Snapshot
        Its state.
    layout : Layout, optional
        Where everything stands; found anew where it is left out.
    faults : mapping of str to Fault, optional
        The faults that the plant can have, by id; found anew where it is left out.
    marks : bool
        Whether what is broken is marked. Without marks the picture shows what the plant shows,
        and no more.
    weak : iterable of str
        Designations of parts that carry the mark "next".
    still : bool
        Whether flashing lamps stand still with the word "flashing" beside them.
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> from labkit.plant import load_plant
    >>> from labkit.switchover import Switchover
    >>> plant = load_plant()
    >>> plant_svg(plant, Switchover(plant).snapshot())[:37]
    '<svg xmlns="http://www.w3.org/2000/sv'
    """
    places = layout or layout_of(plant)
    known = faults_of(plant) if faults is None else faults
    broken = broken_words(known[name] for name in sorted(snapshot.faults)) if marks else {}
    lamps: dict[str, list[Lamp]] = {}
    for shown in lamps_of(snapshot):
        lamps.setdefault(shown.unit, []).append(shown)

    parts: list[str] = []
    tags: list[str] = []
    for wire in places.wires:
        drawn, marked = _wire(wire, snapshot, broken.get(wire.name))
        parts.append(drawn)
        tags.append(marked)
    for strand in reversed(places.strands):
        drawn, marked = _strand(strand, snapshot, broken)
        parts.append(drawn)
        tags.append(marked)
    parts += _plates(plant, places, snapshot, lamps, broken)
    for name, box in places.boxes.items():
        if name in broken and name not in places.fields:
            high = box.y + 100 if name in places.racks else max(box.y - 12, 2)
            tags.append(tag(box.right - 6, high, broken[name], anchor="end", most=box.width - 10))
    tags += [_next_mark(name, places) for name in weak if name not in broken]
    return document([*parts, *tags], places.width, places.height,
                    plant_alt_text(plant, snapshot, marks=marks), standalone=standalone,
                    still=still)
