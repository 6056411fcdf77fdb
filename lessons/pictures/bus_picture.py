"""A bus line with its repeater, terminators, bias and the places of a meter, and what it reads."""

from labkit.arguments import one_of
from labkit.rig.bus import BIAS_OHM, TERMINATOR_OHM, line_states
from lessons.pictures.look import markup
from lessons.pictures.svg import alone, document
from lessons.pictures.two_states_picture import Picture


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
    drawn = markup(
        __file__, state=state, near=near, far=far, length=f"{length_m:g}",
        end_ohm=f"{TERMINATOR_OHM:.0f}", bias_ohm=f"{BIAS_OHM:.0f}")
    return Picture(alone(document(drawn, 900, 300, words.replace("\n", " "))), words)
