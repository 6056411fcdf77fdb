"""How far off an answer is, where no slip gives it: the rungs of a ladder, and their words."""

import math

from labkit.wording import shown

PARTS = ((1 / 20, "a twentieth"), (1 / 10, "a tenth"), (1 / 7, "a seventh"), (1 / 5, "a fifth"),
         (1 / 4, "a quarter"), (1 / 3, "a third"), (2 / 5, "two fifths"), (1 / 2, "a half"),
         (3 / 5, "three fifths"), (2 / 3, "two thirds"), (3 / 4, "three quarters"))


def far_off(value: float, right: float, half: float = 0.0, most: float = 0.025) -> tuple[str, str]:
    """Return the rung of the ladder on which an answer stands, and how to say it.

    A power of ten is told as far as half of the last figure given allows, and `most` of it.

    >>> far_off(2100.0, 35.0), far_off(23.0, 35.0)
    (('many times', 'is about 60 times too large'), ('by a part', 'is too small by about a third'))
    """
    if value == 0:
        return "nothing", "is nothing at all"
    if (value < 0) != (right < 0):
        return "sign", "has the other sign"
    ratio = value / right
    power = round(math.log10(ratio))
    if power and abs(ratio / 10**power - 1) < max(2e-3, min(half / abs(value), most)):
        return "power of ten", f"has its decimal point {abs(power)} " \
            f"{'place' if abs(power) == 1 else 'places'} too far to the " \
            f"{'right' if power > 0 else 'left'}"
    way = "too large" if ratio > 1 else "too small"
    times = max(ratio, 1 / ratio)
    if times >= 2.5:
        said = float(f"{times:.1g}") if times > 12 else math.floor(times + 0.5)
        return "many times", f"is about {shown(float(said))} times {way}"
    if times >= 1.85:
        return "many times", "is about twice as large" if ratio > 1 else "is too small by about a half"
    part = abs(ratio - 1)
    if part < 0.04:
        return "by a little", f"is {way} by a little"
    _, words = min(PARTS, key=lambda each: abs(math.log(each[0] / part)))
    return "by a part", f"is {way} by about {words}"
