"""The digits of one number, in the decimal habits of several countries."""

import re
from dataclasses import dataclass

from lessons.exercises.units import Unreadable

# A space stands between thousands only; what follows it is a group of three.
NUMBER = (
    r"(?:\d+(?:[.,'’_]\d+|\ \d{3}(?!\d))*[.,]?(?!\d)|[.,]\d+)"
    r"(?:[eE][+-]?\d+(?![^\W\d_]))?"
)


@dataclass(frozen=True)
class Digits:
    """A number as typed, by its decimal mark: a text such as ``1,234`` can be read in two ways.

    Parameters
    ----------
    fraction, whole : float or None
        The number with the mark as a decimal mark, and with the mark between thousands.
    figures : int
        Figures that stand for something; zeros at the end of a whole number may not.
    step : float
        One in the place of the last digit.
    mark : str
        The decimal mark, where the text itself shows it.
    """

    text: str
    fraction: float | None
    whole: float | None
    figures: int
    step: float
    mark: str = ""

    @property
    def likely_fraction(self) -> bool:
        """Whether a point is the decimal mark, as it is here; only 60.000 may be meant otherwise."""
        return "." in self.text and not self.text.endswith(".000")


def read_digits(text: str) -> Digits:
    """Read the digits of one number, which fit :data:`NUMBER`."""
    mantissa, _, exponent = text.lower().partition("e")
    digits = re.sub(r"[.,]$", "", mantissa)
    digits = re.sub(r"(?<=\d)[ '’_](?=\d{3}(?!\d))", " ", digits)
    marks = re.sub(r"[\d ]", "", digits)
    power = f"e{exponent}" if exponent else ""
    grouped = re.fullmatch(r"\d{1,3}(?: \d{3})+(?:[.,]\d+)?", digits)
    if not set(marks) <= {".", ","} or (" " in digits and not grouped):
        raise _not_one(text)
    if len(marks) > 1:
        return _several_marks(text, digits, marks, power)
    two = re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", digits) and not exponent
    return _digits(text, digits, marks, power, two_readings=bool(two))


def _several_marks(text: str, digits: str, marks: str, power: str) -> Digits:
    decimal = marks[-1] if marks[-1] != marks[0] else ""
    between = re.escape(marks[0])
    # Thousands as in 1,234,567 or, in India, as in 12,34,567.
    groups = rf"[1-9]\d{{0,2}}(?:{between}\d{{3}})+|[1-9]\d?(?:{between}\d{{2}})+{between}\d{{3}}"
    if not re.fullmatch(rf"(?:{groups})" + (rf"{re.escape(decimal)}\d*" if decimal else ""), digits):
        raise _not_one(text)
    return _digits(text, digits.replace(marks[0], ""), decimal, power)


def _digits(text: str, digits: str, mark: str, power: str, *, two_readings: bool = False) -> Digits:
    plain = digits.replace(" ", "").replace(",", ".")
    whole, _, decimals = plain.partition(".")
    fraction = float(plain + power)
    if fraction in (float("inf"), float("-inf")):
        raise Unreadable(f"the number {text!r} is too large")
    significant = (whole + decimals).lstrip("0")
    if not decimals and not power:
        significant = significant.rstrip("0")
    if two_readings:
        return Digits(text, fraction, float(whole + decimals), len(significant), 10.0 ** -3)
    scale = float("1" + power) if power else 1.0
    return Digits(text, fraction, None, max(len(significant), 1),
                  scale * 10.0 ** -len(decimals), mark)


def _not_one(text: str) -> Unreadable:
    return Unreadable(f"the digits {text!r} do not form one number")
