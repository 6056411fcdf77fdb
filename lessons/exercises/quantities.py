"""Read numbers with units as people write them.

A year has 8760 h here. An answer such as ``35 min/a``, ``0,58 h per year`` or ``99.99 %`` becomes
a number in base units and the kind of quantity it is. What can be read in two ways is asked back,
never guessed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from labkit.wording import HOURS_PER_YEAR

__all__ = ["Quantity", "Unit", "Unreadable", "parse", "unit"]

# symbol -> (what it measures, size in the base unit of that, other spellings)
_SYMBOLS = {
    "h": ("time", 1.0, ("hour", "hours", "hr", "hrs")),
    "min": ("time", 1 / 60, ("mins", "minute", "minutes")),
    "s": ("time", 1 / 3600, ("sec", "secs", "second", "seconds")),
    "ms": ("time", 1 / 3.6e6, ("millisecond", "milliseconds")),
    "d": ("time", 24.0, ("day", "days")),
    "a": ("time", HOURS_PER_YEAR, ("y", "yr", "yrs", "year", "years", "annum")),
    "%": ("", 0.01, ("percent",)),
    "": ("", 1.0, (
        "1", "failure", "failures", "outage", "outages", "times", "beat", "beats", "trip", "trips",
        "switchover", "switchovers", "split", "splits", "stop", "stops",
    )),
    "m": ("length", 1.0, ("metre", "metres", "meter", "meters")),
    "cm": ("length", 0.01, ()),
    "mm": ("length", 0.001, ()),
    "L": ("volume", 1.0, ("l", "litre", "litres", "liter", "liters")),
    "m3": ("volume", 1000.0, ("m³",)),
    "EUR": ("money", 1.0, ("€", "euro", "euros")),
    "Ω": ("resistance", 1.0, ("ohm", "ohms")),
}
_SPELLINGS = {
    spelling: symbol
    for symbol, (_, _, others) in _SYMBOLS.items()
    for spelling in (symbol, *others)
}
_PER = re.compile(r"\s*(?:/|\bper\b|\beach\b|\b(?:a|in a)(?=\s+(?:hour|day|year)\b))\s*")
_NUMBER = re.compile(r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?: \d{3}[\d.,]*)*(?:e[+-]?\d+)?", re.IGNORECASE)
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")


class Unreadable(ValueError):
    """Raised where a text holds no number, an unknown unit, or two possible readings."""


@dataclass(frozen=True)
class Unit:
    """A unit, such as ``min/a``: its text, what it measures, and its size in base units.

    Parameters
    ----------
    text : str
        The unit as it is written in tasks.
    kind : tuple of str
        What stands above and below the stroke, ``("time", "time")`` for ``min/a``.
    factor : float
        One of this unit in base units (h, m, L, EUR, Ω and quotients of them).

    >>> unit("min/a").kind
    ('time', 'time')
    """

    text: str
    kind: tuple[str, str]
    factor: float


@dataclass(frozen=True)
class Quantity:
    """A number as it was written, and its unit (None where none was written).

    Parameters
    ----------
    number : float
        The number as written, before any unit is applied.
    unit : Unit or None
        The unit as written.

    >>> parse("12 h")
    Quantity(number=12.0, unit=Unit(text='h', kind=('time', ''), factor=1.0))
    """

    number: float
    unit: Unit | None

    def value_in(self, target: Unit) -> float:
        """Return the number in the target unit.

        Parameters
        ----------
        target : Unit
            A unit of the same kind.

        Returns
        -------
        float
            The number that belongs in front of ``target``.

        Raises
        ------
        ValueError
            Where no unit was written, or one of another kind.

        >>> round(parse("0,5 h per year").value_in(unit("min/a")), 9)
        30.0
        """
        if self.unit is None:
            raise ValueError("unit must be written before a value can be converted, got none")
        if self.unit.kind != target.kind:
            raise ValueError(f"target must measure {self.unit.kind}, got {target.text!r}")
        return self.number * self.unit.factor / target.factor


def unit(text: str) -> Unit:
    """Read a unit.

    Parameters
    ----------
    text : str
        Such as ``h``, ``min/a``, ``hours per year``, ``1/h``, ``%`` or the empty text.

    Returns
    -------
    Unit
        The unit with its kind and its size in base units.

    Raises
    ------
    Unreadable
        Where a symbol is not in the table.

    >>> unit("hours per year").text
    'h/a'
    """
    cleaned = " ".join(text.strip().rstrip(".").split()).removesuffix("^1")
    cleaned = re.sub(r"\bper cent\b", "percent", cleaned)
    cleaned = re.sub(r"\bp\. ?a\b", "per a", cleaned)
    inverse = re.fullmatch(r"(\w+)\^?(?:-1)", cleaned.translate(_SUPERSCRIPTS))
    if inverse:
        cleaned = f"1/{inverse.group(1)}"
    pieces = _PER.split(cleaned)
    if len(pieces) > 2:
        raise Unreadable(f"{text.strip()!r} holds more than one stroke")
    above = _symbol(pieces[0], text)
    below = _symbol(pieces[1], text) if len(pieces) == 2 else ""
    if len(pieces) == 2 and _SYMBOLS[below][0] == "":
        raise Unreadable(f"{text.strip()!r} has no unit below the stroke")
    factor = _SYMBOLS[above][1] / _SYMBOLS[below][1]
    return Unit(
        text=f"{above or '1'}/{below}" if below else above,
        kind=(_SYMBOLS[above][0], _SYMBOLS[below][0]),
        factor=factor,
    )


def _symbol(piece: str, whole: str) -> str:
    piece = piece.strip()
    for spelling in (piece, piece.lower()):
        if spelling in _SPELLINGS:
            return _SPELLINGS[spelling]
    raise Unreadable(f"the unit {whole.strip()!r} is not in the table")


def parse(text: str) -> Quantity:
    """Read one answer: a number and, where there is one, its unit.

    Decimal comma and decimal point, thin spaces between thousands, powers of ten and sums of
    times such as ``9 h 30 min`` are read.

    Parameters
    ----------
    text : str
        What the learner wrote.

    Returns
    -------
    Quantity
        The number and the unit.

    Raises
    ------
    Unreadable
        Where there is no number, an unknown unit, or two readings, as in ``1,234``.

    >>> parse("5.8e-1 h").number
    0.58
    >>> parse("1,234 h")
    Traceback (most recent call last):
    ...
    lessons.exercises.quantities.Unreadable: '1,234' can be 1.234 or 1234
    """
    cleaned = _plain(text)
    pieces = []
    while cleaned:
        match = _NUMBER.match(cleaned)
        if not match:
            raise Unreadable(f"no number was found at {cleaned!r}")
        rest = cleaned[match.end() :].strip()
        if re.match(r"\d(?!\s*/)", rest):
            raise Unreadable(f"{text.strip()!r} holds more than one number")
        following = re.search(r"(?<=[hdns])\s*(?=\d)", rest)
        unit_text = rest[: following.start()] if following else rest
        cleaned = rest[following.end() :] if following else ""
        pieces.append(Quantity(_number(match.group()), unit(unit_text) if unit_text else None))
    if not pieces:
        raise Unreadable("no number was found")
    return pieces[0] if len(pieces) == 1 else _sum_of_times(pieces, text)


def _plain(text: str) -> str:
    """Bring typographic variants to one form: spaces, minus signs, powers of ten."""
    text = re.sub(r"[\s\u00a0\u2000-\u200a\u202f\u205f]+", " ", text).strip()
    text = re.sub(r"[\u2212\u2013\u2012]", "-", text)
    text = re.sub(r"(?<=\d)['’](?=\d{3})", " ", text)
    text = re.sub(r"\s*[×x*·]\s*10\s*(?:\^|\*\*)?\s*([-+]?\d+|[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+)",
                  lambda power: "e" + power.group(1).translate(_SUPERSCRIPTS), text)
    text = re.sub(r"^(?:≈|~|=|ca\.?|about|approx\.?|some)\s*", "", text)
    # Money is written in front of its number too.
    return re.sub(rf"^(?:EUR|€) ?({_NUMBER.pattern})", r"\1 EUR", text, flags=re.IGNORECASE)


def _number(text: str) -> float:
    """Read the digits; a lone comma before three digits has two readings."""
    mantissa, _, exponent = text.lower().partition("e")
    sign = "-" if mantissa.startswith("-") else ""
    digits = mantissa.lstrip("+-")
    if " " in digits and not re.fullmatch(r"\d{1,3}(?: \d{3})+(?:[.,]\d+)?", digits):
        raise Unreadable(f"the digits {text!r} do not form one number")
    digits = digits.replace(" ", "_")
    comma, point = digits.count(","), digits.count(".")
    if comma and point:
        decimal = max(",", ".", key=digits.rfind)
        thousands = "." if decimal == "," else ","
        if digits.count(decimal) > 1 or not re.fullmatch(
            rf"\d{{1,3}}(?:\{thousands}\d{{3}})+\{decimal}\d*", digits
        ):
            raise Unreadable(f"the digits {text!r} do not form one number")
        digits = digits.replace(thousands, "").replace(decimal, ".")
    elif comma + point > 1:
        mark = "," if comma else "."
        if not re.fullmatch(rf"\d{{1,3}}(?:\{mark}\d{{3}})+", digits):
            raise Unreadable(f"the digits {text!r} do not form one number")
        digits = digits.replace(mark, "")
    elif _two_readings(digits) and not exponent:
        whole, fraction = re.split("[,.]", digits)
        small = whole if fraction == "000" else f"{whole}.{fraction}"
        raise Unreadable(f"{text!r} can be {small} or {whole}{fraction}")
    else:
        digits = digits.replace(",", ".")
    value = float(f"{sign}{digits.replace('_', '')}" + (f"e{exponent}" if exponent else ""))
    if math.isinf(value):
        raise Unreadable(f"the number {text!r} is too large")
    return value


def _two_readings(digits: str) -> bool:
    # A point is the decimal mark of this course; only "60.000" is likely to be meant otherwise.
    return bool(re.fullmatch(r"[1-9]\d{0,2},\d{3}|[1-9]\d{0,2}\.000", digits))


def _sum_of_times(pieces: list[Quantity], text: str) -> Quantity:
    if any(piece.unit is None or piece.unit.kind != ("time", "") for piece in pieces):
        raise Unreadable(f"{text.strip()!r} holds more than one number")
    first = pieces[0].unit
    return Quantity(sum(piece.value_in(first) for piece in pieces), first)
