"""A bus line with its repeater, terminators, bias and the places of a meter, and what it reads."""

from labkit.arguments import one_of
from labkit.rig.bus import BIAS_OHM, TERMINATOR_OHM, line_states
from lessons.pictures.svg import alone, document, line, rectangle, shape, text
from lessons.pictures.two_states_picture import Picture

WIDTH, HEIGHT = 900.0, 300.0
PLUS, MINUS = 96.0, 150.0
HALL, REPEATER, QUAY = 60.0, 560.0, 850.0


def bus_picture(state: str = "good", length_m: float = 870.0) -> Picture:
    """Draw the panel bus with terminators, bias, repeater and meter places.

    Parameters
    ----------
    state : str
        State of the first line, one of those of `labkit.line_states`.
    length_m : float
        Length of the first line, >= 0, in m.

    Returns
    -------
    Picture
        The line from the hall to the repeater with what a meter reads at both of its ends.

    Raises
    ------
    ValueError
        If there is no such state, or the length is negative.

    Examples
    --------
    >>> print(repr(bus_picture("line open")).splitlines()[-1])
    Meter 1 at the hall: 120 ohm, +667 mV; meter 2 at the repeater: 120 ohm, +0 mV.
    """
    states = line_states(length_m)
    read = states[one_of("state", state, states)]
    near, far = (f"{ohm:.0f} ohm, {mv:+.0f} mV" for ohm, mv in (
        (read.near_ohm, read.near_mv), (read.far_ohm, read.far_mv)))
    words = (
        f"Panel bus, {state}: two wires from the hall over {length_m:g} m to repeater TF1, a "
        f"second line to the quay. Each line has a terminator of {TERMINATOR_OHM:.0f} ohm at "
        f"either end. Bias at {'both ends' if state.startswith('second bias') else 'the near end'}.\n"
        f"Meter 1 at the hall: {near}; meter 2 at the repeater: {far}.")
    parts = [text(12, 24, f"Panel bus: {state}", "b", size=17)]
    for x, name, what in ((HALL, "KF1, KF2", "hall"), (REPEATER, "TF1", "repeater"),
                          (QUAY, "PH1", "quay")):
        parts += [rectangle(x - 42, 66, 84, 114, "card"),
                  text(x, 118, name, "b", anchor="middle"),
                  text(x, 138, what, "q", size=14, anchor="middle")]
    parts += _line(HALL + 42, REPEATER - 42, state)
    parts += _line(REPEATER + 42, QUAY - 42, "good", bias=False)
    parts += [text((HALL + REPEATER) / 2 + 70, 56, f"WF3, {length_m:g} m", anchor="middle"),
              text((REPEATER + QUAY) / 2, 56, "WF4, its own line", anchor="middle")]
    for x, number, said in ((HALL + 50, 1, near), (REPEATER - 50, 2, far)):
        parts += [line([(x, MINUS + 4), (x, 222)], "event"),
                  f'<circle cx="{x:.0f}" cy="234" r="13" class="card"/>',
                  text(x, 239, f"{number}", "b", anchor="middle"),
                  text(x + 20 if number == 1 else x - 20, 239, said, "b",
                       anchor="start" if number == 1 else "end")]
    parts.append(text(12, 284, "Resistors in ohm. Meter 1 and 2: ohm with the supplies off, mV while nobody "
                      "sends. Both need the permit.", "q", size=14))
    return Picture(alone(document(parts, WIDTH, HEIGHT, words.replace("\n", " "))), words)


def _line(left: float, right: float, state: str, *, bias: bool = True) -> list[str]:
    """Draw two wires from end to end with what hangs between them."""
    middle = (left + right) / 2
    swapped = state == "A and B swapped"
    opened = state == "line open"
    gap = 16 if opened or swapped else 0
    parts = []
    for y, other in ((PLUS, MINUS), (MINUS, PLUS)):
        if gap:
            parts += [line([(left, y), (middle - gap, y)], "idle"),
                      line([(middle + gap, y), (right, y)], "idle")]
            if swapped:
                parts.append(line([(middle - gap, y), (middle + gap, other)], "cut", 0))
        else:
            parts.append(line([(left, y), (right, y)], "idle"))
    if opened:
        parts += [_cross(middle, PLUS), _cross(middle, MINUS)]
    if state == "short in the middle":
        parts.append(line([(middle, PLUS), (middle, MINUS)], "cut"))
    parts += [text(left + 14, PLUS - 6, "+", "b"), text(left + 14, MINUS + 18, "-", "b")]
    for end, x, out in (("near", left + 44, 18), ("far", right - 44, -18)):
        if state == f"{end} terminator missing":
            parts += [_cross(x, (PLUS + MINUS) / 2), text(x, MINUS + 22, "missing", "f b", size=14,
                                                         anchor="middle")]
            continue
        parts += _resistor(x, f"{TERMINATOR_OHM:.0f}")
        if state == f"third terminator {end}":
            parts += _resistor(x + 2 * out, f"{TERMINATOR_OHM:.0f}", "f b")
    if bias:
        missing, second = state == "no bias", state == "second bias far"
        for x in (left + 120, right - 160)[: 1 + second]:
            for y, end, rail in ((PLUS, 40, "5 V"), (MINUS, 206, "0 V")):
                parts += [line([(x, y), (x, end)], "event"),
                          rectangle(x - 6, min(y, end) + 16, 12, 26, "card", 1),
                          text(x + 12, (y + end) / 2 + 5, f"{BIAS_OHM:.0f} to {rail}", size=14)]
                if missing:
                    parts.append(_cross(x, (y + end) / 2))
    return parts


def _resistor(x: float, words: str, kind: str = "") -> list[str]:
    return [line([(x, PLUS), (x, MINUS)], "event"),
            rectangle(x - 6, PLUS + 12, 12, MINUS - PLUS - 24, "card", 1),
            text(x, MINUS + 22, words, kind, size=14, anchor="middle")]


def _cross(x: float, y: float) -> str:
    return f'<path d="{shape("cross", x, y, 8 / 0.85)}" class="cut"/>'
