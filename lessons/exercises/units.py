"""Units as people write them, in one table. A year has 8760 h here, and a month 730 h."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from labkit.wording import HOURS_PER_YEAR

TABLE = tomllib.loads(Path(__file__).with_name("reading.toml").read_text("utf-8"))
# symbol -> (what it measures, size in the base unit of that)
_SYMBOLS = {
    symbol: (row["measures"], (row.get("years", 0) * HOURS_PER_YEAR or row.get("size", 1.0))
             / row.get("parts", 1.0))
    for symbol, row in TABLE["unit"].items()
}
_SPELLINGS = {
    spelling: symbol
    for symbol, row in TABLE["unit"].items()
    for spelling in (symbol, *row["spelled"])
}
# Signs that stand for more than one currency are read as that of the question.
_SIGNS = {"$": ("USD", "CAD", "AUD"), "£": ("GBP",), "kr": ("NOK", "SEK", "DKK", "ISK")}
OF_PARTS = ("unit", "part", "device", "component", "system", "operating")
"""What hours may be counted of: "unit-hours" are hours."""
SHARES = (("%",), ("‰",), ("ppm",))
SCALES = TABLE["scale"]


class Unreadable(ValueError):
    """Raised where a text holds no number, an unknown word, or two possible readings."""


class TwoReadings(Unreadable):
    """Raised where the digits of one number can be read in two ways; holds both, to be put in."""

    def __init__(self, text: str, fraction: float, whole: float) -> None:
        super().__init__(f"{text!r} can be {fraction:g} or {whole:.0f}")
        self.text, self.readings = text, (f"{whole:.0f}e-3", f"{whole:.0f}")


@dataclass(frozen=True)
class Unit:
    """A unit, such as ``min/a``: its text, what it measures, and its size in base units.

    Parameters
    ----------
    kind : tuple of str
        What stands above and below the stroke, ``("time", "time")`` for ``min/a``.
    factor : float
        One of this unit in base units (h, m, L, the currency, Ω and quotients of them).
    """

    text: str
    kind: tuple[str, str]
    factor: float


def symbol_of(word: str, currency: str = "") -> str | None:
    """Return the symbol of a unit however it is spelled; None for a word that is none."""
    for spelling in (word, word.lower()):
        if spelling in _SPELLINGS:
            return _SPELLINGS[spelling]
    first, hyphen, last = word.lower().partition("-")
    if hyphen and first in OF_PARTS and kind_of(symbol_of(last)) == "time":
        return symbol_of(last)
    for code in _SIGNS.get(word.lower(), (word.upper(),)):
        if code == currency:
            return code
    if word in _SIGNS:
        return _SIGNS[word][0]
    return word if re.fullmatch("[A-Z]{3}", word) else None


def kind_of(symbol: str | None) -> str | None:
    """Return what a symbol measures: "" for a share or a count, None where there is no unit."""
    if symbol is None or symbol in _SYMBOLS:
        return None if symbol is None else _SYMBOLS[symbol][0]
    return f"money in {symbol}"  # three capital letters: another currency


def size_of(symbol: str) -> float:
    """Return one of a symbol in the base unit of its kind."""
    return _SYMBOLS[symbol][1] if symbol in _SYMBOLS else 1.0


def built(above: Sequence[str], below: Sequence[str]) -> Unit:
    """Return the unit of at most one symbol above and one below the stroke."""
    top, bottom = "".join(above), "".join(below)
    return Unit(
        text=f"{top or '1'}/{bottom}" if bottom else top,
        kind=(kind_of(top), kind_of(bottom)),
        factor=size_of(top) / size_of(bottom),
    )


def spelled_out(number: str, unit: Unit) -> str:
    """Write a number with its unit as it is read aloud: "35 min a year"."""
    words = {"a": "a year", "d": "a day", "h": "an hour"}
    top, _, bottom = unit.text.partition("/")
    if not bottom or top == "a":
        top = "years" if top == "a" else top
        top = top[:-1] if number == "1" and top in ("years", "weeks", "months") else top
    elif bottom not in words:
        top = unit.text
    top = "" if top == "1" else top
    return " ".join(filter(None, (number, top, words.get(bottom))))


def known_units(asked: Unit | None) -> str:
    """Name the units in which an answer may stand."""
    if asked is None:
        return "h, min, s, ms, d, weeks, months, a, %, L, EUR, or two of them as in min/a"
    if not asked.kind[0]:
        return "a number" + {"": ", or one in %" * (asked.text == "%")}.get(asked.kind[1], " a year")
    _, stroke, below = asked.text.partition("/")
    names = ["h", "min", "s", "d"] if asked.kind == ("time", "time") else [
        symbol for symbol in _SYMBOLS if kind_of(symbol) == asked.kind[0]]
    return ", ".join(name + stroke + below for name in names) or asked.text
