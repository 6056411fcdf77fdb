"""Read numbers with units as people write them: fractions, sums, rates, times of the clock, words.

What the words, the digits and the signs between them mean is said in :mod:`.units`,
:mod:`.digits` and :mod:`.grammar`; here stands what is said around a number: "about", "at most",
"T =". What can be read in two ways is asked back, never guessed; what is read otherwise than it
was typed is said.
"""

import functools
import math
import re
import unicodedata
from dataclasses import dataclass, replace
from itertools import pairwise

from lessons.exercises.answer_value import Value, written
from lessons.exercises.grammar import NO_LEAD, AnswerReader
from lessons.exercises.units import (
    SHARES,
    TABLE,
    TwoReadings,
    Unit,
    Unreadable,
    built,
    spelled_out,
    symbol_of,
)

LONGEST = 160
# What rounded numbers in a sum may move its result.
ROUNDED = 1e-3

_AROUND = re.compile("|".join(
    rf"^(?:{phrase})(?![^\W_])[\s:.]*|[\s,]+(?:{phrase})$" if phrase[0] in "(" or phrase[0].isalpha()
    else rf"^{phrase}\s*" for phrase in TABLE["around"]["said"]), re.IGNORECASE)
_LEAD = re.compile(r"(?:[^\W\d_]{2,}|[A-Z]{2}\d\d?|[AIa])(?:,? (?:[^\W\d_]+|[A-Z]{2}\d\d?))*? "
                   r"(?=\d|(?:about|at most|at least|up to|once|every)\b)")
_EQUALS = re.compile(r"\s*([=≈~≤≥<>⇒]|\bis\b|\bare\b|\bequals\b|:(?!\d))\s*", re.IGNORECASE)
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")


@dataclass(frozen=True)
class Quantity:
    """A number as it was written, and its unit (None where none was written).

    Parameters
    ----------
    figures : int or None
        Figures of a typed number that stand for something, without the zeros at the end of a whole
        number; None where it was calculated, or is exact as a number word is.
    read_as : str
        What was read, such as ``0.125 a year``; empty where it is what was typed.
    spread : float
        One in the last place, relative to the number, of a time in parts or one over a number.
    """

    number: float
    unit: Unit | None
    figures: int | None = None
    read_as: str = ""
    spread: float = 0.0

    @property
    def bare(self) -> bool:
        """Whether it is a number alone: "12", or "12 failures", which names what is counted."""
        return self.unit is None or not self.unit.text


@functools.cache
def unit(text: str) -> Unit:
    """Read a unit, such as ``h``, ``min/a``, ``hours per year``, ``1/h``, ``%`` or nothing.

    >>> unit("hours per year").text
    'h/a'
    """
    return AnswerReader("" if text.strip() == "1" else _plain(text), None).unit_alone()


def parse(text: str, asked: Unit | None = None) -> Quantity:
    """Read one answer: a number and, where there is one, its unit.

    Where it is known in what unit is asked, more can be read: what is counted may have any name,
    and a time or an amount is one a year where the question says "in a year".

    >>> parse("once in 8 years").read_as
    '0.125 a year'
    >>> parse("1,234 h")
    Traceback (most recent call last):
    ...
    lessons.exercises.units.TwoReadings: '1,234' can be 1.234 or 1234
    """
    if len(text) > LONGEST:
        raise Unreadable(f"the text is longer than {LONGEST} characters")
    said = _without_words_around(_plain(text))
    if lost := re.search(r"\d ?[*x] ?(10-\d+)", said):
        raise Unreadable(f"{lost[1]!r} can be 10^{lost[1][2:]} or a difference")
    sides = _sides(said, asked, " ".join(text.split()))
    for first, second in pairwise(sides):
        _must_agree(first, second, counted=asked is not None and asked.kind == ("", ""))
    return _answered(sides[-1], asked)


def _plain(text: str) -> str:
    """Bring typographic variants to one form: spaces, signs, powers, fractions."""
    text = re.sub("(?<=m)³", "3", text)
    text = re.sub("[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+",
                  lambda power: "^" + power[0].translate(_SUPERSCRIPTS), text)
    text = re.sub("[¼-¾⅐-⅞]", r" \g<0>", text)
    text = unicodedata.normalize("NFKC", text).replace("μ", "µ")
    text = re.sub(r"\s+", " ", text.replace("[", "(").replace("]", ")")).strip()
    for variant, plain in TABLE["plain"]["variants"]:
        text = re.sub(variant, plain, text)
    return text.strip().rstrip(" .;!")


def _without_words_around(text: str) -> str:
    """Take words such as "about" and "at most" from both ends."""
    shorter = _AROUND.sub("", text).strip()
    return text if shorter == text else _without_words_around(shorter)


def _sides(text: str, asked: Unit | None, typed: str) -> list[Value]:
    """Read what stands between equals signs; a side without a number is a name, as in "T = 75"."""
    pieces = _EQUALS.split(text)
    typed = typed if len(pieces) == 1 else ""
    values, problem = [], None
    for place in range(0, len(pieces), 2):
        piece = _without_words_around(pieces[place])
        if place and pieces[place - 1] == "⇒":
            values.clear()
        try:
            try:
                values.append(AnswerReader(piece, asked, typed).answer())
            except Unreadable as trouble:
                # "It jams 0.25 times a year", "The time was 9 h 45 min"
                lead = _LEAD.match(piece)
                if isinstance(trouble, TwoReadings) or not lead or any(
                        word.lower() in NO_LEAD or (len(word) > 1 and symbol_of(word))
                        for word in re.findall(r"\w+", lead[0])):
                    raise
                piece = _without_words_around(piece[lead.end():])
                values.append(AnswerReader(piece, asked, typed).answer())
        except Unreadable as trouble:
            last = place == len(pieces) - 1
            if not re.search(r"[^\W\d]" if not last else r"^[^\W\d]", piece):
                raise
            problem = trouble
    if not values:
        raise problem
    return values


def _must_agree(first: Value, second: Value, *, counted: bool) -> None:
    """Ask back where both sides of an equals sign differ by more than rounding.

    Where something is counted, a whole number may be the next one up or down.
    """
    one, two = first.reduced(), second.reduced()
    alone = one.bare or two.bare
    alone = alone or not any(one.kinds)  # "8760 h / 90000 h = 0.0973 /a"
    if not alone and one.kinds != two.kinds:
        raise Unreadable(f"{_named(one)} and {_named(two)} cannot be equal")
    # A number alone stands for one in the unit of the other, unless that is a share.
    scales = [1.0] if alone and any(one.kinds + two.kinds) else [one.size / two.size]
    if two.above in SHARES and not one.typed:
        scales.append(1.0)  # both 1/8 = 12.5 % and 1/8*100 = 12.5 % are written
    if one.number == two.number and not one.typed:
        return  # "600 min / 60 = 10 h"
    # A number that was cut off and not rounded differs by up to one in its last place.
    room = two.step if two.step < 1 or (counted and two.step == 1) else two.step / 2
    if all(abs(one.number * scale - two.number) > room + one.step * scale / 2
           + (1e-9 if one.typed else ROUNDED) * abs(two.number) for scale in scales):
        raise Unreadable(f"{_named(one)} and {_named(two)} stand on both sides of the equals sign")


def _named(value: Value) -> str:
    return f"{written(value.number)} {built(value.above, value.below).text}".strip()


def _answered(value: Value, asked: Unit | None) -> Quantity:
    """Return what was read, as the question asks for it."""
    spread = value.step / abs(value.number) if value.digits is None and value.number else 0.0
    value = value.reduced()
    number, above, below, typed = value.number, value.above, value.below, value.typed
    if asked is not None:
        in_a = asked.text.partition("/")[2]
        measures = asked.kind[0] == "".join(value.kinds[0]) and not value.bare
        if value.period and asked.kind == ("time", ""):  # "every 5.6 h"
            number, above, below = 1 / number, below, ()
        elif not asked.kind[0] and value.divided and value.kinds == (["time"], ["time"]):
            number, above, below = number * value.size, (), ()
        elif above in SHARES and value.digits is None and asked.kind != ("", "") and not below:
            number, above, value = number * value.size, (), replace(value, bare=True)
        elif measures and not below and in_a in ("a", "d") and above not in SHARES:
            below, typed = (in_a,), False
    if not math.isfinite(number):
        raise Unreadable("the number is too large")
    found = None if value.bare else built(above, below)
    shown = written(number)
    read_as = "" if typed else spelled_out(shown, found) if found else shown
    return Quantity(number, found, value.figures, read_as, spread)
