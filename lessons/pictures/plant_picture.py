"""The plant on the screen, drawn once: a template of its parts and cables, and values for a state.

A live cable is thick where the leading controller writes a rack through it, thin where data pass
only, and dashed where nothing passes. What is broken has a red rim, a cross and a word beside its
name. Lamps follow `labkit.switchover.lamps`, whatever lamps there are.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from html import escape

from labkit.plant.plant import Plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Outputs, Role, Snapshot
from lessons.pictures.geometry import Box, Cable
from lessons.pictures.layout import (
    LAMP_ROW,
    NARROW,
    WIDE,
    is_large,
    layout_of,
    reading_order,
    room_of,
)
from lessons.pictures.slots import Values, filled, group, slot
from lessons.pictures.svg import (
    alone,
    document,
    fit,
    is_hollow,
    rectangle,
    shape,
    tail,
    text,
    text_width,
    way,
    words_in_lines,
)

SMALL, REACH = 13.0, 5.0
# On a slide 1600 pixels wide its type is then 18 pt, without a change.
STILL = 810.0
ROLE_CLASS = {Role.ACTIVE: "b rg", Role.STANDBY: "b p", Role.LOADING: "b p"}
OUTPUT_LAMPS = {
    Outputs.WRITTEN: ("bar", "green", ("outputs written", "written")),
    Outputs.HELD: ("triangle", "yellow", ("outputs held", "held")),
    Outputs.FAIL_STATE: ("square", "red", ("outputs in fail state", "fail state")),
}
FIGHT_LAMP = ("square", "red", ("two writers: outputs flap", "two writers", "flaps"))


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

    >>> from labkit import load_plant
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

    >>> from labkit import Switchover, load_plant
    >>> plant = load_plant()
    >>> plant_alt_text(plant, Switchover(plant).snapshot())[:33]
    'Plant picture. KF1 active, KF2 st'
    """
    roles = ", ".join(f"{unit} {role.value}" for unit, role in snapshot.roles.items())
    said = [f"Plant picture. {roles or 'No controller'}."]
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
    if is_large(plant) and plant.racks:
        said.append("Each rack is one box with what hangs on it.")
    words = " ".join(said).split()
    return " ".join(words if len(words) <= 60 else [*words[:59], "…"])


class PlantPicture:
    """Draw a plant in a picture of one width.

    Parameters
    ----------
    plant : Plant
        Any plant.
    width : float
        In pixels, see `layout_of`.
    process : bool, optional
        Whether there is room for the trend.

    >>> from labkit import Switchover, load_plant
    >>> plant = load_plant()
    >>> PlantPicture(plant).values(Switchover(plant).snapshot())["KF1.role"]
    'ACTIVE'
    """

    def __init__(self, plant: Plant, width: float = WIDE, process: bool | None = None):
        self.plant = plant
        self.layout = layout_of(plant, width, process=process)
        self.faults = faults_of(plant)
        self.what = {name: part.what.partition(":")[0] for name, part in plant.parts.items()}
        self._room: dict[str, float] = {}
        self._mark_room: dict[str, float] = {}
        self._rack_of = {room_of(rack): rack for rack in self.layout.racks if self.layout.rooms}
        self._carries = self._users()

    def _users(self) -> list[set[tuple[str, str]]]:
        """Return for each cable which (rack, controller) need it."""
        plant = self.plant
        users: dict[str, set[tuple[str, str]]] = {}
        joints: dict[frozenset[str], set[tuple[str, str]]] = {}
        for unit in plant.controllers:
            for rack in plant.racks:
                for names in plant.ways(unit, rack):
                    for name in names:
                        users.setdefault(name, set()).add((rack, unit))
                    for pair in zip((unit, *names), (*names, rack)):
                        joints.setdefault(frozenset(pair), set()).add((rack, unit))
        return [users.get(cable.name, set()) if cable.name else
                joints.get(frozenset(end.rpartition(" ")[0] or end for end in cable.ends), set())
                for cable in self.layout.cables]

    # ------------------------------------------------------------ what stays

    def template(self) -> str:
        """Return everything that stays, with empty slots: lines first, then the parts as read."""
        return self._template

    @cached_property
    def _template(self) -> str:
        places = self.layout
        return "".join([*(self._lines(i, cable) for i, cable in enumerate(places.cables)), *(
            self._room_plate(name) if name in places.rooms else self._with_inside(name)
            for name in reading_order({**places.plates, **places.labels}))])

    @cached_property
    def opened(self) -> str:
        """What lies over the picture of a large plant: each rack, shut until its room is opened."""
        return "".join(
            f'<g class="opened no" data-inside="{escape(room_of(rack))}">'
            f'{rectangle(box.x - 6, box.y - 6, box.width + 12, box.height + 12, "back", 10)}'
            f"{self._with_inside(rack)}</g>"
            for rack, box in self.layout.racks.items()) if self.layout.rooms else ""

    @cached_property
    def _inside(self) -> dict[str, dict[str, Box]]:
        """What stands inside each rack."""
        places = self.layout
        held: dict[str, dict[str, Box]] = {rack: {} for rack in places.racks}
        for name, socket in places.sockets.items():
            held[socket.rack][name] = socket.box
        for name, field in places.fields.items():
            rack = next(rack for rack in reversed(held) if name in self.plant.neighbours[rack])
            held[rack][name] = field
        return held

    @cached_property
    def _cables(self) -> dict[str, Cable]:
        return {cable.name: cable for cable in self.layout.cables if cable.label}

    @cached_property
    def _lamps_by_unit(self) -> dict[str, list[Lamp]]:
        lamps: dict[str, list[Lamp]] = {}
        for each in lamps_of(Switchover(self.plant).snapshot()):
            lamps.setdefault(each.unit, []).append(each)
        return lamps

    def _with_inside(self, name: str) -> str:
        """Draw a part, and after it what is inside it."""
        return "".join(map(self._part, [name, *reading_order(self._inside.get(name, {}))]))

    def _lines(self, number: int, cable: Cable) -> str:
        data = "".join(way(points) for points in cable.lines)
        if cable.kind == "feed":
            return f'<path d="{data}" class="feed"/>'
        halo = f'<path d="{data}" class="halo"/>' if cable.kind == "link" else ""
        drawn = halo + slot("path", f"~{number}", d=data, class_="wire")
        if not cable.name:
            return drawn
        (x0, y0), (x1, y1) = max(
            (pair for points in cable.lines for pair in zip(points, points[1:])),
            key=lambda pair: abs(pair[0][0] - pair[1][0]) + abs(pair[0][1] - pair[1][1]))
        middle = shape("cross", (x0 + x1) / 2, (y0 + y1) / 2, 9)
        return (drawn + slot("path", f"~{number}.x", d=middle, class_="cut no")
                + f'<path d="{data}" class="hit" data-of="{escape(cable.name)}"/>')

    def _part(self, name: str) -> str:
        """Draw what can be touched: a plate, a socket, a chip or the name of a cable."""
        places, lamps = self.layout, self._lamps_by_unit.get(name, [])
        box = places.places[name]
        if cable := self._cables.get(name):
            drawn = self._cable_name(name, cable, box)
        elif name in places.controllers:
            drawn = self._controller(name, box, lamps)
        elif name in places.racks:
            drawn = self._rack(name, box)
        elif name in places.sockets:
            drawn = rectangle(box.x, box.y, box.width, box.height, "well", 4)
            drawn += text(box.x + (7 if box.width > 74 else 4), box.y + 15, name, "b p", size=SMALL)
            left = min(text_width(name, SMALL, bold=True) + 13, box.width - 16)
            drawn += self._mark(name, box.x + left, box.y + 1, box.width - left - 1)
            drawn += self._lamps(name, lamps, box, 30)
        elif name in places.fields:
            drawn = rectangle(box.x, box.y, box.width, box.height, "well", 4)
            drawn += text(box.middle[0], box.y + 15, name, "b p", size=SMALL, anchor="middle")
            drawn += f'<path d="{shape("cross", box.right - 5, box.y + 2, 4.5)}" class="cut"/>'
        elif name in places.chips:
            drawn = rectangle(box.x, box.y, box.width, box.height, "plate", 5)
            drawn += text(box.x + 8, box.y + 15.5, name, "b p", size=SMALL)
            left = text_width(name, SMALL, bold=True) + 14
            self._room[name] = box.width - left - 6
            drawn += slot("text", f"{name}.t", class_="pq", x=box.x + left, y=box.y + 15.5,
                          style=f"font-size:{SMALL:g}px")
        elif lamps:
            drawn = rectangle(box.x, box.y, box.width, box.height, "plate", 7)
            drawn += self._name_line(name, box, 17)
            drawn += self._lamps(name, lamps, box, 37)
        else:
            drawn = self._plain(name, box)
        what = f"{name} {self.what.get(name, '')}".strip()
        return group(name, drawn, class_="part", data_part=name, data_name=what, data_state="")

    def _name_line(self, name: str, box: Box, base: float) -> str:
        """Write a designation and what it is; a mark takes the place of the latter."""
        shown = tail(name, box.width - 16, 16)
        left = text_width(shown, 16, bold=True) + 17
        room = box.width - left - 6
        said = _whole(_sayings(self.what[name]), room)
        return (text(box.x + 10, box.y + base, shown, "b p", size=16)
                + text(box.x + left, box.y + base, said, "pq what", size=SMALL)
                + self._mark(name, box.x + left - 4, box.y + base - 14, room + 8))

    def _controller(self, name: str, box: Box, lamps: Sequence[Lamp]) -> str:
        drawn = rectangle(box.x, box.y, box.width, box.height, "plate", 8)
        drawn += slot("rect", f"{name}.bar", x=box.x, y=box.y, width=box.width, height=6, rx=3,
                      class_="no")
        room = box.width - 26 - text_width("STANDBY", 13, bold=True)
        large = 20 if text_width(name, 20, bold=True) <= room else 16
        shown = tail(name, room, large)
        drawn += text(box.x + 10, box.y + 25, shown, "b p", size=large)
        room = box.width - 26 - text_width(shown, large, bold=True)
        size = 16 if text_width("STANDBY", 16, bold=True) <= room else 13
        drawn += slot("text", f"{name}.role", class_="pq", x=box.right - 10, y=box.y + 24,
                      style=f"font-size:{size}px", text_anchor="end")
        return (drawn + self._lamps(name, lamps, box, 41)
                + self._mark(name, box.x + 8, box.y - 13, box.width - 16))

    def _rack(self, name: str, box: Box) -> str:
        sockets = [s.box for s in self.layout.sockets.values() if s.rack == name]
        base = (max(s.bottom for s in sockets) if sockets else box.y) + 17
        left = box.x + 18 + text_width(name, 16, bold=True)
        sayings = [said for *_, each in (*OUTPUT_LAMPS.values(), FIGHT_LAMP) for said in each]
        room = box.right - left - 24
        long = all(text_width(each[2][0], SMALL, bold=True) <= room for each in
                   OUTPUT_LAMPS.values())
        self._room[name] = room if long else max(
            text_width(each, SMALL, bold=True) for each in sayings if len(each) < 12)
        width = min(room, max(text_width(each, SMALL, bold=True) for each in sayings
                              if text_width(each, SMALL, bold=True) <= self._room[name]))
        # The rack of another controller has no lamp that the rig could light.
        at = box.right - 10 - width if name in self.plant.racks else box.right + 20
        what = _whole(_sayings(self.what[name].replace("rack of the ", "").replace("rack of ", "")),
                      at - 26 - left)
        return "".join([
            rectangle(box.x, box.y, box.width, box.height, "plate", 8),
            text(box.x + 10, base, name, "b p", size=16),
            text(left, base, what, "pq what", size=SMALL),
            self._output_lamp(name, at, base) if at < box.right else "",
            self._mark(name, left - 4, base - 14, at - 22 - left + 6),
        ])

    def _output_lamp(self, name: str, x: float, base: float) -> str:
        lamp = slot("path", f"{name}.out.s", class_="s", d="",
                    transform=f"translate({x - 12:.1f} {base - 4.5:.1f})")
        lamp += slot("text", f"{name}.out.t", class_="b p", x=x, y=base,
                     style=f"font-size:{SMALL:g}px")
        return group(f"{name}.out", lamp, class_="lamp")

    def _room_plate(self, name: str) -> str:
        """Draw the room of a rack: its outputs, how much is inside, or what is wrong there."""
        box, rack = self.layout.rooms[name], self._rack_of[name]
        place = self.plant.parts[rack].place
        left = box.x + 17 + text_width(rack, 16, bold=True)
        where = _whole((place, place.partition(",")[0], place.rpartition(", ")[2]),
                       box.right - left - 6)
        self._room[name] = box.width - 36
        count = 1 + len(self._inside[rack])
        drawn = "".join([
            rectangle(box.x, box.y, box.width, box.height, "plate", 8),
            text(box.x + 10, box.y + 19, rack, "b p", size=16),
            text(left, box.y + 19, where, "pq", size=SMALL),
            self._output_lamp(name, box.x + 30, box.y + 37),
            text(box.x + 10, box.y + 54, f"{count} parts", "pq what", size=SMALL),
            self._mark(name, box.x + 6, box.y + 41, box.width - 12),
        ])
        return group(name, drawn, class_="part", data_part=name, data_opens=name,
                     data_name=f"Room of rack {rack}, {place or 'no place'}, {count} parts",
                     data_state="")

    def _plain(self, name: str, box: Box) -> str:
        shown = tail(name, box.width - 12, 16)
        left = text_width(shown, 16, bold=True) + 17
        room, most = box.width - left - 6, 2 if box.height > 32 else 1
        drawn = rectangle(box.x, box.y, box.width, box.height, "plate", 6)
        middle = box.y + box.height / 2
        if room < 40:
            return (drawn + text(box.x + 8, box.y + 17, shown, "b p", size=16)
                    + self._mark(name, box.x + 4, box.y + 20, box.width - 8))
        cut = [words_in_lines(each, room / 0.95, most, SMALL) for each in _sayings(self.what[name])]
        lines = next((each for each in cut if not any("…" in line for line in each)), [])
        first = middle + 4.5 - 8 * (len(lines) - 1)
        drawn += text(box.x + 10, middle + 5.5, shown, "b p", size=16)
        drawn += "".join(text(box.x + left, first + 16 * i, words, "pq what", size=SMALL)
                         for i, words in enumerate(lines))
        return drawn + self._mark(name, box.x + left - 5, middle - 9, room + 8)

    def _cable_name(self, name: str, cable: Cable, box: Box) -> str:
        drawn = rectangle(box.x, box.y, box.width, box.height, "name", 3)
        drawn += text(box.x + 3, box.y + 13, name, "b", size=SMALL)
        # The word stands below the cable, or on the right of its name; without room there, beside it.
        if cable.kind == "sync":
            room = cable.lines[0][1][0] - cable.lines[0][0][0] - 6
            left = cable.lines[0][0][0] + 3
            return drawn + self._mark(name, *self._free(
                box, (left, box.bottom + 5), (left, box.y - 22)), room)
        free = [other.x for other in self.layout.labels.values()
                if other is not box and abs(other.y - box.y) < 20 and other.x > box.x]
        free += [plate.x for plate in self.layout.plates.values()
                 if plate.y < box.bottom and plate.bottom > box.y and plate.x > box.x]
        free += [p[0] for each in self.layout.cables for line in each.lines for p in line
                 if each is not cable and p[0] > box.right and abs(p[1] - box.bottom) < 24]
        room = min([*free, self.layout.width]) - box.right - 4
        if room < 20:
            middle = box.middle[0] - 8.5
            return drawn + self._mark(name, *self._free(
                box, (middle, box.bottom), (middle, box.y - 17), (box.x - 18, box.y)), 17)
        return drawn + self._mark(name, box.right, box.y, min(room, 92))

    def _free(self, box: Box, *places: tuple[float, float]) -> tuple[float, float]:
        """Return the first of the places for a mark beside a name where it covers no other."""
        others = [each for each in (*self.layout.labels.values(), *self.layout.plates.values())
                  if each is not box]
        return next(((x, y) for x, y in places if not any(
            each.x < x + 17 and each.right > x and each.y < y + 17 and each.bottom > y
            for each in others)), places[0])

    def _mark(self, name: str, x: float, y: float, room: float) -> str:
        """Draw the empty tag that says what is wrong with a part."""
        self._mark_room[name] = room
        inside = slot("rect", f"{name}.mr", class_="tag", x=x, y=y, width=10, height=17, rx=4)
        inside += slot("path", f"{name}.mi", class_="tx", d="",
                       transform=f"translate({x + 9:.1f} {y + 8.5:.1f})")
        inside += slot("text", f"{name}.mt", class_="tt", x=x + 17, y=y + 13,
                       style=f"font-size:{SMALL:g}px")
        return group(f"{name}.m", inside, class_="sign no")

    def _lamps(self, unit: str, lamps: Sequence[Lamp], box: Box, base: float) -> str:
        """Draw lamps below each other, each with its word and room for its state."""
        drawn = []
        for i, each in enumerate(lamps):
            x, y = box.x + (11 if unit in self.layout.sockets else 12), box.y + base + LAMP_ROW * i
            word = fit(each.name, box.width - 22, SMALL, bold=True)
            left = x + 11 + text_width(word, SMALL, bold=True) + 5
            self._room[f"{unit}.{i}"] = box.right - left - 2
            inside = slot("path", f"{unit}.{i}.s", class_="s", d=shape(each.shape, 0, 0, REACH),
                          transform=f"translate({x:.1f} {y - 4.5:.1f})")
            inside += text(x + 11, y, word, "b", size=SMALL)
            inside += slot("text", f"{unit}.{i}.t", x=left, y=y, style=f"font-size:{SMALL:g}px")
            drawn.append(group(f"{unit}.{i}", inside, class_="lamp off"))
        return "".join(drawn)

    # ------------------------------------------------------------ what moves

    def values(self, snapshot: Snapshot, *, marks: bool = True, weak: Iterable[str] = (),
               still: bool = False) -> Values:
        """Return the values of a state.

        Parameters
        ----------
        snapshot : Snapshot
            The state.
        marks : bool
            Whether what is broken is marked. Without marks the picture shows what the plant
            shows, and no more.
        weak : iterable of str
            Designations of parts that are framed as those which would stop the plant next.
        still : bool
            Whether a flashing lamp says so in words.
        """
        self.template(), self.opened  # they say how much room there is for words
        on = [self.faults[name] for name in sorted(snapshot.faults)] if marks else []
        troubles = troubles_of(on)
        values: Values = {}
        said: dict[str, list[str]] = {}
        numbers: dict[str, int] = {}
        for each in lamps_of(snapshot):
            number = numbers[each.unit] = numbers.get(each.unit, -1) + 1
            values |= self._lamp_values(f"{each.unit}.{number}", each, still)
            if each.lit:
                said.setdefault(each.unit, []).append(
                    f"{each.name} {each.text}{', flashing' if each.flashing else ''}")
        for name, role in snapshot.roles.items():
            word = role.value.upper()
            values |= {f"{name}.role": word, f"{name}.role@": ROLE_CLASS.get(role, "b pq"),
                       f"{name}.bar@": "green" if role is Role.ACTIVE else "no"}
            # The lamp of a role tells it; a unit that is off or stopped has none.
            if not any(role.value in lamp.lower() for lamp in said.get(name, ())):
                said.setdefault(name, []).insert(0, role.value)
        lit = {rack: FIGHT_LAMP if rack in snapshot.writes_fight else OUTPUT_LAMPS[outputs]
               for rack, outputs in snapshot.outputs.items()}
        for name, rack in [*((rack, rack) for rack in lit), *self._rack_of.items()]:
            if rack in lit:
                values |= self._output_values(name, *lit[rack])
                said[name] = [lit[rack][2][0]]
        for number, cable in enumerate(self.layout.cables):
            if cable.kind != "feed":
                self._cable_values(number, cable, snapshot, troubles, values, said)
        weak = set(weak)
        for name, rack in self._rack_of.items():
            inside = [rack, *self._inside[rack]]
            if inside_wrong := {each: troubles[each] for each in inside if each in troubles}:
                troubles[name] = _of_all(inside_wrong)
            if weak.intersection(inside):
                weak.add(name)
        for name in self.layout.places:
            self._part_values(name, troubles.get(name), name in weak, said.get(name, []), values)
        return values

    def still_values(self, snapshot: Snapshot, *, marks: bool = True) -> Values:
        """Return the values of a still, where nobody can choose a setting, a test or an event.

        These are no parts: each is drawn where it has a fault.
        """
        values = self.values(snapshot, marks=marks, still=True)
        return values | {f"{name}@": "no" for name in self.layout.chips
                         if name not in self.plant.parts and values[f"{name}@"] == "part"}

    def _lamp_values(self, key: str, each: Lamp, still: bool) -> Values:
        kind = f"lamp {each.colour if each.lit else 'off'}" + (
            " hollow" * is_hollow(each.shape) + " lk-flash" * each.flashing)
        words = _state_words(f"{each.text}, flashing" if still and each.flashing else each.text,
                             self._room.get(key, 0.0)) if each.lit else ""
        return {f"{key}@": kind, f"{key}.t": words,
                f"{key}.s@d": shape(each.shape, 0, 0, REACH)}

    def _output_values(self, name: str, form: str, colour: str, sayings: Sequence[str]) -> Values:
        words = next((each for each in sayings
                      if text_width(each, SMALL, bold=True) <= self._room[name]), sayings[-1])
        return {f"{name}.out@": f"lamp {colour}", f"{name}.out.t": words,
                f"{name}.out.s@d": shape(form, 0, 0, REACH)}

    def _cable_values(self, number: int, cable: Cable, snapshot: Snapshot,
                      troubles: Mapping[str, Trouble], values: Values,
                      said: dict[str, list[str]]) -> None:
        trouble = troubles.get(cable.name)
        broken = trouble is not None and trouble.breaks
        if cable.kind == "sync":
            # A whole sync cable carries nothing while a partner does not hear the other.
            heard = snapshot.sync_ok and not snapshot.silent and \
                Role.OFF not in snapshot.roles.values()
            kind = "wire" if heard and not broken else "dead"
        elif cable.kind == "link" and self._carries[number]:
            users = [(rack, unit) for rack, unit in self._carries[number]
                     if snapshot.links.get((rack, unit))]
            writes = any(snapshot.writers.get(rack) == unit for rack, unit in users)
            kind = "dead" if broken or not users else "wire" if writes else "idle"
        else:
            kind = "dead" if broken else "idle"
        values[f"~{number}@"] = kind
        if cable.name:
            values[f"~{number}.x@"] = "cut" if broken else "cut no"
            said.setdefault(cable.name, [
                {"wire": "in use", "idle": "whole", "dead": "nothing passes"}[kind]])

    def _part_values(self, name: str, trouble: Trouble | None, weak: bool, said: list[str],
                     values: Values) -> None:
        kind = "part" if trouble is None else "part bad" if trouble.breaks else "part mild"
        values[f"{name}@"] = f"{kind} weak" if weak else kind
        state = [*said, *([trouble.words] if trouble else []),
                 *(["would stop the plant next"] if weak else [])]
        values[f"{name}@data-state"] = ", ".join(dict.fromkeys(state))
        what = self.what.get(name, "")
        if name in self.layout.chips:
            values[f"{name}.t"] = (fit(trouble.words, self._room[name], SMALL) if trouble else
                                   _whole(_sayings(what), self._room[name]))
            return
        if name not in self._mark_room:
            return
        values[f"{name}.m@"] = "sign no" if trouble is None else \
            "sign" if trouble.breaks else "sign mild"
        values[f"{name}.mt"] = ""
        if trouble:
            room = self._mark_room[name] - 22
            words = _state_words(trouble.words, room, bold=True)
            values |= {
                f"{name}.mt": words,
                f"{name}.mr@width": f"{(text_width(words, SMALL, bold=True) + 4 if words else 0) + 17:.0f}",
                f"{name}.mi@d": shape("cross" if trouble.breaks else "triangle", 0, 0, 4.5),
            }


def _of_all(wrong: Mapping[str, Trouble]) -> Trouble:
    """Return what is wrong with a room; it begins with what is said where there is no space."""
    said = "; ".join(f"{name}, {each.words}" for name, each in wrong.items())
    return Trouble(f"{len(wrong)} parts, {said}" if len(wrong) > 1 else said,
                   any(each.breaks for each in wrong.values()))


def _state_words(words: str, room: float, *, bold: bool = False) -> str:
    """Return a state text, its first part where the space is short, and no half of a saying."""
    return _whole((words, words.partition(",")[0], words.partition(" or ")[0]), room, bold=bold)


def _sayings(what: str) -> tuple[str, ...]:
    """Return what a part is, first in full, then with less."""
    return what, *(what.partition(end)[0] for end in (",", " of ", " with ", " that "))


def _whole(sayings: Iterable[str], room: float, *, bold: bool = False) -> str:
    """Return the first saying that fits, and no half of one."""
    # Widths are those of a wide font: the real one needs a little less.
    return next((said for said in sayings
                 if 0.95 * text_width(said, SMALL, bold=bold) <= room), "")


@lru_cache(maxsize=8)
def _still(plant: Plant, width: float) -> PlantPicture:
    """Return a picture without the trend, kept for the next state of the plant."""
    return PlantPicture(plant, width, process=False)


def slide_width(plant: Plant) -> float:
    """Return the width at which the picture of a plant is largest on a slide of 16 to 9."""
    drawn = (_still(plant, width).layout for width in (STILL, NARROW, WIDE))
    return max(drawn, key=lambda each: min(16 / each.width, 9 / each.height)).width


def plant_svg(plant: Plant, snapshot: Snapshot, *, width: float = STILL, marks: bool = True,
              standalone: bool = False) -> str:
    """Draw the plant in a state, as a still picture without the trend.

    >>> from labkit import Switchover, load_plant
    >>> plant = load_plant()
    >>> plant_svg(plant, Switchover(plant).snapshot())[:37]
    '<svg xmlns="http://www.w3.org/2000/sv'
    """
    picture = _still(plant, width)
    drawn = filled(picture.template(), picture.still_values(snapshot, marks=marks))
    whole = document([drawn], picture.layout.width, picture.layout.height,
                     plant_alt_text(plant, snapshot, marks=marks), still=True)
    return alone(whole) if standalone else whole
