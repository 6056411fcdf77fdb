"""The plant on the screen: its parts, wires, lamps and faults as SVG text.

A pure function of the plant and the state that is shown. A live strand is thick where its
controller writes the rack, thin where data pass only, and dashed where nothing passes; a red cross
and a word mark what is broken. Lamps follow `labkit.switchover.lamps`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from labkit.plant.plant import Plant
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Role, Snapshot
from lessons.pictures import plates
from lessons.pictures.geometry import Box, Layout, Strand, Wire
from lessons.pictures.layout import layout_of
from lessons.pictures.svg import cross, document, lamp, line, rectangle, tag, text, text_width

__all__ = ["Trouble", "plant_alt_text", "plant_svg", "troubles_of"]

@dataclass(frozen=True)
class Trouble:
    """Hold what is wrong with a part.

    Parameters
    ----------
    words : str
        In a few words, such as 'no power'.
    breaks : bool
        Whether the part does not do its work; otherwise it is only disturbed.

    >>> Trouble("noise", False).words
    'noise'
    """

    words: str
    breaks: bool


def troubles_of(faults: Iterable[Fault]) -> dict[str, Trouble]:
    """Return for each part that is not as it should be what is wrong with it.

    Parameters
    ----------
    faults : iterable of Fault
        The faults that are switched on.

    Returns
    -------
    dict of str to Trouble
        By designation; several words are joined.

    >>> from labkit.plant.plant import load_plant
    >>> troubles_of([faults_of(load_plant())["KF1: no power"]])
    {'KF1': Trouble(words='no power', breaks=True)}
    """
    found: dict[str, Trouble] = {}
    for fault in faults:
        for name in sorted(fault.breaks) or [fault.unit]:
            before = found.get(name)
            words = f"{before.words}, {fault.how}" if before else fault.how
            found[name] = Trouble(words, bool(fault.breaks) or bool(before and before.breaks))
    return found


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

    >>> from labkit.plant.plant import load_plant
    >>> from labkit.switchover.engine import Switchover
    >>> plant = load_plant()
    >>> plant_alt_text(plant, Switchover(plant).snapshot())[:33]
    'Plant picture. KF1 active, KF2 st'
    """
    roles = ", ".join(f"{unit} {role.value}" for unit, role in snapshot.roles.items())
    said = [f"Plant picture. {roles}."]
    writers: dict[str | None, list[str]] = {}
    for rack, writer in snapshot.writers.items():
        writers.setdefault(writer, []).append(rack)
    for writer, racks in writers.items():
        which = f"all {len(racks)} racks" if len(racks) == len(snapshot.writers) > 1 \
            else ", ".join(racks)
        said.append(f"{writer} writes {which}." if writer else f"Nobody writes {which}.")
    dead = [f"{unit} to {rack}" for (rack, unit), passes in snapshot.links.items() if not passes]
    if dead:
        said.append(f"No data on {len(dead)} of {len(snapshot.links)} links.")
    if marks:
        faults = "; ".join(sorted(snapshot.faults))
        said.append(f"Broken: {faults}." if faults else "Nothing broken.")
    words = " ".join(said).split()
    return " ".join(words if len(words) <= 60 else [*words[:59], "…"])


def _wire(wire: Wire, snapshot: Snapshot, trouble: Trouble | None) -> tuple[str, str]:
    """Draw a cable or a feed, and the mark on it."""
    if wire.kind == "feed":
        return "".join(line(points, "feed") for points in wire.lines), ""
    sync = wire.kind == "sync"
    # A whole sync cable carries nothing while a partner does not hear the other.
    heard = snapshot.sync_ok and not snapshot.silent and Role.OFF not in snapshot.roles.values()
    broken = trouble is not None and trouble.breaks
    live = not broken and (heard or not sync)
    kind = "dead" if not live else "wire" if sync else "idle"
    x, y = wire.label
    upright = all(points[0][0] == points[-1][0] for points in wire.lines)
    anchor = "middle" if sync else "start" if upright else "end"
    words = f"{wire.name} sync" if sync else wire.name
    drawn = [line(points, kind) for points in wire.lines]
    drawn.append(text(x, y, words, "b over", anchor=anchor))
    if trouble is None:
        return "".join(drawn), ""
    width = text_width(words, bold=True)
    (x0, y0), (x1, y1) = wire.lines[-1][-2:]
    if sync:
        at = ((x0 + x1) / 2, y0)
        marked = tag(x, y + 20, trouble.words, anchor="middle", most=100, mild=not broken)
    elif upright:
        at = (x0, (y0 + y1) / 2)
        marked = tag(x + width + 6, y - 17, trouble.words, most=150, mild=not broken)
    else:
        at = (x - width / 2, wire.lines[-1][1][1])
        marked = tag(x - width - 6, y - 17, trouble.words, anchor="end", most=170, mild=not broken)
    return "".join(drawn), (cross(*at) if broken else "") + marked


def _strand(strand: Strand, snapshot: Snapshot,
            troubles: Mapping[str, Trouble]) -> tuple[str, str]:
    """Draw the way from a controller to a rack, and the mark on it."""
    passes = snapshot.links.get((strand.rack, strand.controller), False)
    writes = snapshot.writers.get(strand.rack) == strand.controller
    kind = "dead" if not passes else "wire" if writes else "idle"
    x, y = strand.points[-1]
    words = "+".join(strand.cables)
    cut = [troubles[name].words for name in strand.cables if name in troubles]
    left = x + (13 if cut else 9)
    drawn = line(strand.points, "halo") + line(strand.points, kind)
    drawn += text(left, y - 7, words, "b", size=14)
    if not cut:
        return drawn, ""
    at = left + 4 + text_width(words, 14, bold=True)
    return drawn, cross(x, y - 13) + tag(at, y - 24, cut[0], size=14, crossed=False, most=86)


def _plates(plant: Plant, places: Layout, snapshot: Snapshot, lamps: Mapping[str, list[Lamp]],
            troubles: Mapping[str, Trouble]) -> list[str]:
    """Draw the front plates of all parts."""
    what = {name: part.what for name, part in plant.parts.items()}
    words = {name: trouble.words for name, trouble in troubles.items()}
    letters = {s.controller: s.letter for s in places.sockets}
    drawn = []
    for name, box in places.controllers.items():
        drawn.append(plates.controller_plate(name, what[name], box, snapshot, lamps.get(name, ())))
        if name in letters:
            drawn.append(text(box.middle[0] + 22, box.bottom + 17, f"link {letters[name]}", "b"))
    for name, box in {**places.supplies, **places.chips}.items():
        drawn.append(plates.plain_plate(name, what[name], box))
    for name, box in places.side.items():
        said = "" if name in troubles else what[name]
        drawn.append(plates.lamp_plate(name, said, box, lamps.get(name, ())))
    for name, box in places.racks.items():
        drawn.append(plates.rack_plate(name, what[name], box, snapshot))
    for socket in places.sockets:
        unit = snapshot.link_units.get((socket.rack, socket.controller), "")
        drawn.append(plates.socket_plate(socket, lamps.get(unit, ()), words.get(socket.interface)))
    for name, box in places.fields.items():
        drawn.append(plates.field_plate(name, plant.parts[name], box, words.get(name)))
    return drawn


def _plate_tag(name: str, box: Box, places: Layout, trouble: Trouble) -> str:
    """Draw the tag of a plate where it hides as little as it can."""
    if name in places.side:
        left = box.x + 20 + text_width(name, 17, bold=True)
        return tag(left, box.y + 4, trouble.words, most=box.right - left,
                   mild=not trouble.breaks)
    high = (box.y + 100 if name in places.racks else
            box.y - 12 if name in places.controllers else box.bottom - 12)
    return tag(box.right - 6, high, trouble.words, anchor="end", most=box.width - 10,
               mild=not trouble.breaks)


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

    >>> from labkit.plant.plant import load_plant
    >>> from labkit.switchover.engine import Switchover
    >>> plant = load_plant()
    >>> plant_svg(plant, Switchover(plant).snapshot())[:37]
    '<svg xmlns="http://www.w3.org/2000/sv'
    """
    places = layout or layout_of(plant)
    known = faults_of(plant) if faults is None else faults
    troubles = troubles_of(known[name] for name in sorted(snapshot.faults)) if marks else {}
    lamps: dict[str, list[Lamp]] = {}
    for shown in lamps_of(snapshot):
        lamps.setdefault(shown.unit, []).append(shown)

    parts: list[str] = []
    tags: list[str] = []
    for wire in places.wires:
        drawn, marked = _wire(wire, snapshot, troubles.get(wire.name))
        parts.append(drawn)
        tags.append(marked)
    for strand in reversed(places.strands):
        drawn, marked = _strand(strand, snapshot, troubles)
        parts.append(drawn)
        tags.append(marked)
    parts += _plates(plant, places, snapshot, lamps, troubles)
    for name, box in places.boxes.items():
        if name in troubles and name not in places.fields:
            tags.append(_plate_tag(name, box, places, troubles[name]))
    tags += [_next_mark(name, places) for name in weak if name not in troubles]
    return document([*parts, *tags], places.width, places.height,
                    plant_alt_text(plant, snapshot, marks=marks), standalone=standalone,
                    still=still)
