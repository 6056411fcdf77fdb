"""Whether a text tells the result of a question, as a number in any usual form."""

import re
from collections.abc import Iterable, Iterator

from lessons.exercises.quantities import Unit, unit

THIN = "\u202f\u00a0\u2009 "
NUMBER = re.compile(rf"(?<![\w.])\d{{1,3}}(?:[{THIN},]\d{{3}})+(?:\.\d+)?(?!\d)|(?<![\w.])\d+(?:\.\d+)?")
UNIT = re.compile(r"[ \u202f\u00a0]?(%|[a-zA-ZΩ]+)?(?:(?:/| an? | each | per )(year|day|hour|a|d|h)\b)?")
# A number of so few figures tells a result only where it stands as one: behind "=" or "about".
FIGURES = 3
RESULT = re.compile(r"(?:=|≈|:|about|nearly|is|are|only|down|in all)\s*$")
SAME = 0.006


def tells(text: str, value: float, of_unit: str) -> bool:
    """Return whether a text tells a value of a unit.

    >>> tells("It is down 35 min a year.", 35.04, "min/a")
    True
    >>> tells("MTTR of 35 min", 35.04, "min/a"), tells("0.584 h a year", 35.04, "min/a")
    (False, True)
    """
    return any(True for _ in _found(text, value, of_unit))


def left_open(text: str, results: Iterable[tuple[float, str, int]]) -> str:
    """Return a text in which each result is a place to write it again, with its question.

    >>> left_open("8760 / 60 004 × 4 h × 60 = 35.0 min a year.", [(35.04, "min/a", 7)])
    '8760 / 60 004 × 4 h × 60 = ____ (question 7) min a year.'
    """
    for value, of_unit, question in results:
        for begin, end in reversed([*_found(text, value, of_unit)]):
            text = f"{text[:begin]}____ (question {question}){text[end:]}"
    return text


def _found(text: str, value: float, of_unit: str) -> Iterator[tuple[int, int]]:
    own = unit(of_unit)
    for found in NUMBER.finditer(text):
        after = UNIT.match(text, found.end())
        written = _unit_of(after)
        digits = re.sub(rf"[{THIN},]", "", found[0])
        figures = len(digits.replace(".", "").lstrip("0") if "." in digits else digits.strip("0"))
        said = bool(RESULT.search(text[:found.start()]))
        if written is None:
            same_kind, factor = figures >= FIGURES or own.kind == ("", ""), 1.0
        else:
            same_kind, factor = written.kind == own.kind, written.factor / own.factor
            if figures >= FIGURES and own.kind == ("time", "time") and written.kind == ("time", ""):
                # "35.04 min" beside minutes a year tells them; "35 min" may be anything.
                same_kind, factor = True, factor / unit("a").factor
        if not same_kind or (figures < FIGURES and not said):
            continue
        decimals = len(found[0].partition(".")[2])
        half = 0.5 * 10.0**-decimals * factor
        near = abs(float(digits) * factor - value)
        if near <= max(SAME * abs(value), 0.0) or (figures >= 2 and near <= half):
            yield found.span()


def _unit_of(after: re.Match) -> Unit | None:
    """Return the unit behind a number; what is counted may have any name, as in "beats a day"."""
    name, below = after[1] or "", after[2]
    for text in (f"{name}/{below}" if below else name, f"1/{below}" if below else ""):
        try:
            if text:
                return unit(text)
        except ValueError:
            continue
    return None
