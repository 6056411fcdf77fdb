"""Front plates of the parts in the picture of a plant: designation, role, lamps, outputs."""

from __future__ import annotations

from collections.abc import Sequence

from labkit.plant.plant_data import PlantPart
from labkit.switchover.lamps import Lamp
from labkit.switchover.roles import Outputs, Role, Snapshot
from lessons.pictures.geometry import LAMP_ROW, SIDE_HEAD, Box, Socket
from lessons.pictures.svg import cross, fit, lamp, rectangle, tag, text, text_width, words_in_lines

__all__ = [
    "controller_plate", "field_plate", "lamp_plate", "plain_plate", "rack_plate", "socket_plate",
]

ROLE_KIND = {Role.ACTIVE: "rg", Role.STANDBY: "p", Role.LOADING: "p"}
OUTPUT_LAMPS = {
    Outputs.WRITTEN: ("bar", "green", ("outputs written", "written")),
    Outputs.HELD: ("triangle", "yellow", ("outputs held", "held")),
    Outputs.FAIL_STATE: ("square", "red", ("outputs in fail state", "fail state")),
}
FIGHT_LAMP = ("square", "red", ("two writers: outputs flap", "two writers", "flaps"))


def _said(shown: Lamp, width: float, size: float) -> str:
    """Return the state text, shorter where the space is short."""
    def fits(words: str) -> bool:
        return text_width(words, size) <= width

    first = shown.text.partition(",")[0]
    short = [shown.text, first, *([] if shown.lit else ["off"])]
    if not shown.lit or any(map(fits, short)):
        return next(filter(fits, short), "")
    words = first.split()
    while words and (words[-1] in ("or", "and", "by", "from", "no") or not fits(" ".join(words))):
        words.pop()
    return " ".join(words)


def _lamp_row(x: float, y: float, shown: Lamp, width: float, size: float = 15) -> str:
    """Draw a lamp, its word and its state; `x` is the middle of the lamp."""
    reach = size / 2
    left = x + 2.3 * reach
    state = left + text_width(shown.name, size, bold=True) + 5
    flash = shown.lit and shown.flashing
    room = x + width - state - (68 if flash else 0)
    drawn = lamp(x, y - 5, shown.shape, shown.colour, lit=shown.lit, flashing=shown.flashing,
                 reach=reach)
    drawn += text(left, y, shown.name, "b p" if shown.lit else "pq", size=size)
    drawn += text(state, y, _said(shown, room, size), "p" if shown.lit else "pq",
                  size=size)
    if flash:
        drawn += text(x + width, y, "flashing", "p lk-fw", size=size, anchor="end")
    return drawn


def controller_plate(name: str, what: str, box: Box, snapshot: Snapshot,
                     lamps: Sequence[Lamp]) -> str:
    """Draw a controller: its role in large letters, its lamps with words and states.

    Parameters
    ----------
    name : str
        Designation.
    what : str
        What it is.
    box : Box
        Its place.
    snapshot : Snapshot
        State of the pair.
    lamps : sequence of Lamp
        Its lamps.

    >>> from labkit.rig.rig import Rig
    >>> plate = controller_plate("KF1", "controller 1", Box(0, 0, 258, 168), Rig().snapshot(), [])
    >>> "ACTIVE" in plate
    True
    """
    role = snapshot.roles[name]
    word = role.value.upper()
    if role is Role.LOADING:
        word = f"LOADING {100 * snapshot.loading.get(name, 0.0):.0f} %"
    x, y = box.x, box.y
    drawn = [rectangle(x, y, box.width, box.height, "plate", 8)]
    if role is Role.ACTIVE:
        drawn.append(rectangle(x, y, box.width, 9, "green", 4))
    drawn.append(text(x + 14, y + 36, name, "b p", size=26))
    room = box.width - 38 - text_width(name, 26, bold=True)
    size = 21 if text_width(word, 21, bold=True) <= room else 16
    drawn.append(text(box.right - 14, y + 36, word, f"b {ROLE_KIND.get(role, 'pq')}", size=size,
                      anchor="end"))
    drawn.append(text(x + 14, y + 56, fit(what, box.width - 28), "pq"))
    for i, shown in enumerate(lamps):
        drawn.append(_lamp_row(x + 26, y + 73 + 17.5 * i, shown, box.width - 36))
    return "".join(drawn)


def socket_plate(socket: Socket, lamps: Sequence[Lamp], broken: str | None) -> str:
    """Draw the end of a link on a rack, with its lamps.

    Parameters
    ----------
    socket : Socket
        Which end, and its place.
    lamps : sequence of Lamp
        Its lamps.
    broken : str or None
        Word for what is wrong with it.

    >>> "dead" in socket_plate(Socket("KF10", "KF1", "A", "KF10A", Box(0, 0, 133, 64)), [], "dead")
    True
    """
    box = socket.box
    name = socket.interface or f"link {socket.letter}"
    drawn = [rectangle(box.x, box.y, box.width, box.height, "well", 4)]
    if broken:
        drawn.append(text(box.x + 7, box.y + 17, name, "b p", size=14))
        left = box.x + 13 + text_width(name, 14, bold=True)
        drawn.append(tag(left, box.y - 1, broken, size=14, most=box.right - left + 8))
    else:
        drawn.append(text(box.x + 8, box.y + 17, socket.letter, "b p", size=17))
        drawn.append(text(box.x + 27, box.y + 17, fit(name, box.width - 32, 14), "pq", size=14))
    for i, shown in enumerate(lamps):
        drawn.append(_lamp_row(box.x + 14, box.y + 37 + 20 * i, shown, box.width - 15, size=14))
    return "".join(drawn)


def rack_plate(name: str, what: str, box: Box, snapshot: Snapshot) -> str:
    """Draw a rack: what it is, and the state of its outputs in word and shape.

    Parameters
    ----------
    name : str
        Designation.
    what : str
        What it is.
    box : Box
        Its place.
    snapshot : Snapshot
        State of the pair.

    >>> from labkit.rig.rig import Rig
    >>> "outputs written" in rack_plate("KF10", "rack", Box(0, 0, 279, 154), Rig().snapshot())
    True
    """
    shape, colour, sayings = (
        FIGHT_LAMP if name in snapshot.writes_fight else OUTPUT_LAMPS[snapshot.outputs[name]]
    )
    room = box.width - 58 - text_width(name, 22, bold=True)
    words = next((each for each in sayings if text_width(each, bold=True) <= room), sayings[-1])
    y = box.y + 94
    right = box.right - 12
    return "".join([
        rectangle(box.x, box.y, box.width, box.height, "plate", 8),
        text(box.x + 12, y, name, "b p", size=22),
        text(right, y - 1, words, "b p", anchor="end"),
        lamp(right - text_width(words, bold=True) - 20, y - 6, shape, colour, lit=True),
        text(box.x + 12, y + 20, fit(what.partition(":")[0], box.width - 20, 14), "pq", size=14),
    ])


def field_plate(name: str, part: PlantPart, box: Box, broken: str | None) -> str:
    """Draw a sensor, pump or the like at its rack; broken, it is a tag.

    Parameters
    ----------
    name : str
        Designation.
    part : PlantPart
        The part.
    box : Box
        Its place.
    broken : str or None
        Word for what is wrong with it.

    >>> part = PlantPart("GP1", "intake pump 1", "pump", 25_000, 12)
    >>> "intake pump 1" in field_plate("GP1", part, Box(0, 0, 160, 24), None)
    True
    """
    if broken:
        words = f"{name} {broken}"
        if text_width(words, 14, bold=True) > box.width - 24:
            words = name
        return rectangle(box.x, box.y, box.width, box.height, "tag", 4) + cross(
            box.x + 9, box.y + 12, 5, "tx") + text(box.x + 18, box.y + 17, words, "tt", size=14)
    drawn = rectangle(box.x, box.y, box.width, box.height, "well", 4)
    drawn += text(box.x + 5, box.y + 17, name, "b p", size=14)
    left = 12 + text_width(name, 14, bold=True)
    for words in (part.what.partition(",")[0], part.kind):
        if text_width(words, 14) <= box.width - left:
            return drawn + text(box.x + left, box.y + 17, words, "pq", size=14)
    return drawn


def plain_plate(name: str, what: str, box: Box) -> str:
    """Draw a part without lamps: its designation, and what it is in one or two lines.

    Parameters
    ----------
    name : str
        Designation.
    what : str
        What it is.
    box : Box
        Its place.

    >>> plain_plate("TB1", "24 V supply", Box(0, 0, 200, 44)).count("<text")
    2
    """
    left = box.x + 18 + text_width(name, 17, bold=True)
    room, most = box.right - left - 6, 2 if box.height > 36 else 1
    # Where the whole does not fit, what comes first says what the part is.
    sayings = (what, what.partition(",")[0], what.partition(" of ")[0])
    cut = [words_in_lines(each, room, most, 14) for each in sayings]
    lines = next((each for each in cut if not each[-1:] or each[-1][-1] != "…"), cut[-1])
    first = box.y + box.height / 2 + 5 - 8.5 * (len(lines) - 1)
    return "".join([
        rectangle(box.x, box.y, box.width, box.height, "plate", 6),
        text(box.x + 11, box.y + box.height / 2 + 6, name, "b p", size=17),
        *(text(left, first + 17 * i, words, "pq", size=14) for i, words in enumerate(lines)),
    ])


def lamp_plate(name: str, what: str, box: Box, lamps: Sequence[Lamp]) -> str:
    """Draw a repeater or panel with its lamps.

    Parameters
    ----------
    name : str
        Designation.
    what : str
        What it is.
    box : Box
        Its place.
    lamps : sequence of Lamp
        Its lamps.

    >>> "PH1" in lamp_plate("PH1", "operator panel", Box(0, 0, 216, 60), [])
    True
    """
    left = box.x + 18 + text_width(name, 17, bold=True)
    drawn = [
        rectangle(box.x, box.y, box.width, box.height, "plate", 8),
        text(box.x + 12, box.y + 22, name, "b p", size=17),
        text(left, box.y + 22, fit(what, box.right - left - 8, 14), "pq", size=14),
    ]
    for i, shown in enumerate(lamps):
        y = box.y + SIDE_HEAD + 14 + LAMP_ROW * i
        drawn.append(_lamp_row(box.x + 22, y, shown, box.width - 32, size=14))
    return "".join(drawn)
