"""How numbers and lists are written, and the length of a year: once for all that is printed."""

import difflib
import math
import re
from collections.abc import Callable, Iterable

HOURS_PER_YEAR = 8760.0
THIN_SPACE = "\u202f"
HARD_SPACE = "\u00a0"
WITHIN_NUMBER = re.compile(
    r"(?<=\d) (?=%|m²|m³|\d{3}(?!\d)|(?:a|d|h|min|s|ms|m|cm|mm|km|L|V|mV|ohm|EUR)\b)")


def grouped(value: float, decimals: int = 0, between: str = THIN_SPACE) -> str:
    """Write a number with its thousands set apart.

    >>> grouped(1234567, between=" "), grouped(-1234.5, 1, " "), grouped(12), grouped(-0.3)
    ('1 234 567', '-1 234.5', '12', '0')
    """
    return f"{value:z,.{decimals}f}".replace(",", between)


def unbroken(text: str) -> str:
    r"""Return a text in which no line ends within a number, or between it and its unit.

    >>> unbroken("MTBF 60 000 h, 24.1 %") == "MTBF 60\u00a0000\u00a0h, 24.1\u00a0%"
    True
    """
    return WITHIN_NUMBER.sub(HARD_SPACE, text)


def shown(value: float, digits: int = 3) -> str:
    r"""Write a number as the tasks do: rounded, thousands set apart by thin spaces.

    Numbers of fewer whole digits keep that many significant ones, larger ones their whole part.

    >>> shown(60000.0) == "60\u202f000"
    True
    >>> shown(35.0377), shown(1.5), shown(0.0000667), shown(4.0)
    ('35.0', '1.5', '6.67e-05', '4')
    """
    text = f"{value:#.{digits}g}"
    if text[-1] == "." or "e+" in text or value == int(value):
        return grouped(value)
    if abs(value) < 1e-3:
        return f"{value:.{digits - 1}e}"
    short = f"{value:.{digits}g}"
    return short if float(short) == value else text


def decimals(value: float, digits: int) -> str:
    """Write a number as people do: a small one without a power of ten, if it is not too small.

    >>> decimals(0.0000667, 3), decimals(6.67e-9, 3), decimals(1.5, 3)
    ('0.0000667', '6.67e-09', '1.5')
    """
    if not 1e-6 <= abs(value) < 1e-3:
        return shown(value, digits)
    power = int(f"{value:.{digits - 1}e}"[-3:])  # after rounding: 0.0009996 has that of 0.001
    return f"{value:.{digits - 1 - power}f}"


def three_digits(value: float, between: str = THIN_SPACE) -> str:
    """Write a number of at least 10 without fractions and by its first three digits.

    >>> three_digits(51376.7, " "), three_digits(83.8)
    ('51 400', '84')
    """
    places = max(0, math.floor(math.log10(value)) - 2)
    return grouped(round(value, -places), between=between)


def percent(share: float, decimals: int = 0) -> str:
    """Write a share in per cent.

    >>> percent(0.5), percent(0.0123, 1)
    ('50 %', '1.2 %')
    """
    return f"{100 * share:.{decimals}f} %"


def nearest(name, names: Iterable[str], cutoff: float = 0.5) -> str | None:
    """Return which of several names comes next to a mistyped one; None if none is near.

    >>> nearest("KF1O", ["KF10", "BL1"])
    'KF10'
    """
    lower = {each.lower(): each for each in names}
    found = difflib.get_close_matches(str(name).lower(), lower, cutoff=cutoff)
    # "power supply" is far in letters, and near in words.
    words = [lower[word] for word in str(name).lower().split() if word in lower]
    return lower[found[0]] if found else words[-1] if words else None


def did_you_mean(name, names: Iterable[str], quote: Callable[[str], str] = str, *,
                 cutoff: float = 0.6) -> str:
    """Ask whether a name that is near was meant, in brackets; nothing if none is near.

    >>> did_you_mean("KF1: cutt", ["KF1: cut", "KF2: cut"], repr)
    " (did you mean 'KF1: cut'?)"
    """
    near = nearest(name, names, cutoff)
    return f" (did you mean {quote(near)}?)" if near else ""


def capital(text: str) -> str:
    """Begin a sentence: the first letter large, the others as they are.

    >>> capital("two lead at KF10")
    'Two lead at KF10'
    """
    return text[0].upper() + text[1:]


def listed(names: Iterable[str], most: int = 99, word: str = "and") -> str:
    """Join names by commas, the last by a word; those beyond `most` are counted.

    >>> listed(["KF1"]), listed(["KF1", "KF2", "WF9"]), listed("abcde", most=2, word="or")
    ('KF1', 'KF1, KF2 and WF9', 'a, b or 3 more')
    """
    names = list(names)
    if len(names) > most:
        names = [*names[:most], f"{len(names) - most} more"]
    return f" {word} ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
