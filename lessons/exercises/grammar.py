"""The grammar of an answer, read by descent from left to right. What may be left out in brackets::

    sum      product (+ - and) product
    product  power (* x times / per in out-of) power
    power    value ^ number
    value    digits [million] [unit], 9:30, half an hour, every 8 years, ( sum ), 1 min 45 s
    unit     symbol [/ per a each] [symbol]
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

from lessons.exercises.answer_value import Value
from lessons.exercises.digits import NUMBER, Digits, read_digits
from lessons.exercises.units import (
    OF_PARTS,
    SCALES,
    SHARES,
    TABLE,
    TwoReadings,
    Unit,
    Unreadable,
    built,
    kind_of,
    known_units,
    size_of,
    symbol_of,
)

DEEPEST = 20

_WORD_NUMBERS, _ORDINALS = TABLE["number"], TABLE["ordinal"]
_OFTEN, _EACH, _PER = TABLE["often"], TABLE["each"], {*TABLE["per"]["said"]}
_NUMBER_WORDS = {*_WORD_NUMBERS, *_OFTEN, "every", "a", "an", "e"}
# A capital inside, or few letters, is rather a unit that is not known here: kWh, V.
_NAME = re.compile(r"[^\W\d_][^\W\d_A-Z]{2,}(?:-[^\W\d_]+)*")
_RANGE = re.compile(
    r"(?:from |(?P<between>between ))?(?P<low>\d[\d.]*)"
    r"(?(between)[^\d-]{0,6} and|(?: ?-|[^\d-]{0,6} to|\.{2,3})) ?(?P<high>\d[\d.]*)(?:\D*| ?1/[a-z]+)")
_FUNCTIONS = {"exp": math.exp, "sqrt": math.sqrt, "ln": math.log, "log": math.log10,
              "lg": math.log10}
# Words that belong to the sentence; a name of what is counted does not hold them.
_NO_NAMES = {*_PER, *_EACH, *_OFTEN, "and", "und", "et", "or", "to", "of", "out", "plus", "minus", "the", "x",
             "not", "but"}
NO_LEAD = {*_NUMBER_WORDS, *_OFTEN, *_PER, *_FUNCTIONS, "and", "or", "to", "plus", "minus", "not", "but", "times", "without",
           "of", "out", "from", "between", "x"} - {"a", "an", "e", "in"}
"""Words that change a number behind them, so that a sentence before it does not hold them."""
_TOKEN = re.compile(
    rf"\s*(?:(?P<clock>\d+:\d\d(?::\d\d)?(?!\d))|(?P<number>{NUMBER})"
    r"|(?P<word>[dc]?m3(?!\d)|[^\W\d_]+(?:-[^\W\d_]+)*|[%‰€$£])|(?P<sign>\*\*|[-+*/^(),&]))"
)


class AnswerReader:
    """Reads one side of an answer from its tokens, from left to right; quotes it as it was typed."""

    def __init__(self, text: str, asked: Unit | None, typed: str = "") -> None:
        self.text, self.asked, self.typed = text, asked, typed or text
        self.counts = (asked is not None and asked.kind in (("", ""), ("", "time"))
                       and asked.text not in ("%", "‰", "ppm"))
        top = asked.text.partition("/")[0] if asked is not None else ""
        self.currency = top if (kind_of(top) or "").startswith("money") else ""
        self.tokens: list[tuple[str, str]] = []
        self.place = self.depth = 0
        at = 0
        while at < len(text.rstrip()):
            found = _TOKEN.match(text, at)
            if not found:
                raise Unreadable(f"{text[at:].strip()[:20]!r} was not understood")
            pieces = found[found.lastgroup].split("-")
            if not all(piece.lower() in _WORD_NUMBERS for piece in pieces):  # not forty-two
                pieces = [found[found.lastgroup]]
            self.tokens.extend((found.lastgroup, piece) for piece in pieces)
            at = found.end()
        marks = {read_digits(token).mark for kind, token in self.tokens if kind == "number"}
        self.mark = (marks - {""}).pop() if len(marks - {""}) == 1 else ""

    # ---------------------------------------------------------------- tokens

    @property
    def left(self) -> bool:
        return self.place < len(self.tokens)

    def peek(self, ahead: int = 0) -> tuple[str, str]:
        """Return kind and text of a token, in small letters."""
        place = self.place + ahead
        kind, token = self.tokens[place] if place < len(self.tokens) else ("end", "")
        return kind, token.lower()

    def take(self, *tokens: str) -> str:
        """Take the next token where it is one of these."""
        found = self.peek()[1]
        if found and found in tokens:
            self.place += 1
            return found
        return ""

    def symbol(self, ahead: int = 0) -> str | None:
        """Return the unit that a token names."""
        place = self.place + ahead
        if place >= len(self.tokens) or self.tokens[place][0] != "word":
            return None
        return symbol_of(self.tokens[place][1], self.currency)

    def not_understood(self) -> None:
        """Say what was not understood, and what is allowed."""
        kind, word = self.tokens[self.place]
        if kind in ("number", "clock") or word in ("or", "oder", "ou"):
            raise Unreadable(f"{self.typed!r} holds more than one number")
        raise Unreadable(f"{word!r} was not understood. Known here: {known_units(self.asked)}")

    # ---------------------------------------------------------------- grammar

    def answer(self) -> Value:
        """Read all of it."""
        # "min/a" and "1/a" alone are the unit of the question, and no answer.
        if self.text == (self.asked.text if self.asked else "") or not any(
                kind in ("number", "clock") or token.lower() in _NUMBER_WORDS for kind, token in self.tokens):
            where = f" in {self.typed!r}" if self.text else ""
            raise Unreadable(f"no number was found{where}")
        spread = _RANGE.fullmatch(self.text)
        if spread and float(spread["low"].strip(".")) < float(spread["high"].strip(".")):
            raise Unreadable(f"{self.typed!r} can be a range; one number is expected")
        try:
            value = self.sum()
        except (OverflowError, ValueError) as problem:
            if isinstance(problem, Unreadable):
                raise
            raise Unreadable("this cannot be calculated, or the number is too large") from None
        if self.left:
            self.not_understood()
        return value

    def sum(self) -> Value:
        """Read terms with plus, minus, or "and" between them."""
        value = self.product()
        while sign := self.take("+", "-", "and", "und", "et", "plus", "minus", ",", "&"):
            joined = sign in ("and", "und", "et", ",")
            half = "half" in (self.peek()[1], self.peek(1)[1])
            if joined and not (value.is_time or half):
                raise Unreadable(f"{self.typed!r} holds more than one number")
            other = self.product()
            if joined and half and value.bare and 2 * other.number in SCALES.values():
                value = value.times(Value(2 * other.number))  # two and a half million
            value = value.plus(other, -1 if sign in ("-", "minus") else 1)
        return value

    def product(self) -> Value:
        """Read factors, with a stroke, "per" or "in" for a quotient."""
        value = self.power()
        while True:
            kind, word = self.peek()
            if word == "/" or (word == "out" and self.peek(1)[1] == "of"):
                self.place += 1 if word == "/" else 2
                value = self._quotient(value)
            elif kind == "word" and word in _PER:
                value = self._rate(value)
            elif word == "*" and not self.peek(1)[1]:  # "59 x"
                self.place += 1
            elif word == "*" or (kind == "word" and word in ("x", "times")):
                self.place += 1
                value = value.times(self.power())
            elif word == "of":
                value = self._part_of(value)
            else:
                return value

    def _quotient(self, value: Value) -> Value:
        other = self.power()
        quotient = value.times(other, over=True)
        if value.bare and other.outside:
            # 4/60004 h are so many hours, as most people write it; a unit below the stroke, as in
            # 1/60000 h, is meant where that is of the kind that is asked.
            kinds = tuple([kind] if kind else [] for kind in self.asked.kind) if self.asked else ()
            if quotient.kinds != kinds or other.kinds == kinds:
                part = value.times(replace(other, above=(), below=(), bare=True), over=True)
                return replace(part, above=other.above, below=other.below, bare=False)
        return quotient

    def _part_of(self, value: Value) -> Value:
        """Read "5 % of 35 min", "5 beats of 50 ms" and "2 % of the year"."""
        self.place += 1
        self.take("the", "a")
        share = value
        if value.above in SHARES:
            share = Value(value.number * size_of(value.above[0]))
        span = self.symbol()
        if kind_of(span) == "time" and (span != "a" or self.asked and self.asked.kind == ("time", "")):
            return share.times(self._with_unit(Value(1.0)))
        if span == "a" or self.peek()[1] == "time":
            self.place += 1
            if self.asked is None or self.asked.kind != ("time", "time") or not share.bare:
                return value
            top, _, below = self.asked.text.partition("/")
            return Value(share.number * size_of(below) / size_of(top), (top,), (below,), bare=False)
        whole = self.power()
        # "13.6 of 100" is a share where one is asked.
        return share.times(whole, over=bool(value.digits and whole.digits and value.bare and whole.bare
                                            and self.asked and (self.asked.text,) in SHARES))

    def _rate(self, value: Value) -> Value:
        """Read "in 8 years" and "every year" after what happens in it."""
        other = self._span()
        if other.is_time and self.peek()[1] == "and" and self.peek(1)[0] == "number":
            self.place += 1
            other = other.plus(self.power())
        once = not any(value.kinds) and other.is_time and value.number == 1
        return replace(value.times(other, over=True), period=once)

    def _span(self) -> Value:
        """Read what stands after "every" or "in": a year, 8 years, second year, 8th year."""
        while self.take(*_PER):
            pass
        ordinal = {"second": 2.0, "other": 2.0, **_ORDINALS}.get(self.peek()[1])
        if ordinal and kind_of(self.symbol(1)) == "time":
            self.place += 1
            return self._with_unit(Value(ordinal))
        if self.peek()[0] == "number" and self.peek(1)[1] in ("st", "nd", "rd", "th"):
            return self._with_unit(Value(self._plain_number(ordinal=True)))
        return self.power() if self.symbol() is None else self._with_unit(Value(1.0))

    def power(self) -> Value:
        """Read a value, and a power of it."""
        sign = self.take("-", "+")
        if self.peek() == ("word", "e") and self.peek(1)[1] in ("^", "**"):
            self.place += 1
            value = Value(math.e)
        else:
            value = self.value()
        if self.take("^", "**"):
            value = self._with_unit(self._raised(value, self._nested(self._exponent)))
        return replace(value, number=-value.number) if sign == "-" else value

    def _exponent(self) -> Value:
        sign = -1 if self.take("-", "+") == "-" else 1
        value = self.value() if self.peek()[0] != "number" else Value(self._plain_number())
        if self.take("^", "**"):
            value = self._raised(value, self._nested(self._exponent))
        return replace(value, number=sign * value.number)

    @staticmethod
    def _raised(value: Value, exponent: Value) -> Value:
        if not (value.bare and exponent.bare) or abs(exponent.number) > 400:
            raise Unreadable("a power takes a number, and a plain exponent of at most 400")
        if value.number == 0 and exponent.number < 0:
            raise Unreadable("nothing can be divided by 0")
        raised = value.number ** exponent.number
        if isinstance(raised, complex):
            raise Unreadable("this power is not a number")
        return Value(raised)

    def _plain_number(self, *, ordinal: bool = False) -> float:
        digits = read_digits(self.tokens[self.place][1])
        self.place += 1 + ordinal
        return digits.fraction

    def _nested(self, rule) -> Value:
        self.depth += 1
        if self.depth > DEEPEST:
            raise Unreadable(f"more than {DEEPEST} brackets or powers stand in one another")
        value = rule()
        self.depth -= 1
        return value

    def value(self) -> Value:
        """Read a number with its unit, a bracket, a time of the clock, or a word."""
        kind, word = self.peek()
        if kind == "number":
            return self._compound(self._number())
        if kind == "clock":
            return self._clock()
        if word in _FUNCTIONS and self.peek(1)[0] == "number":  # ln 20
            self.place += 1
            value = Value(_FUNCTIONS[word](self._plain_number()))
            return self._with_unit(value) if kind_of(self.symbol()) else value
        if word == "(" or (word in _FUNCTIONS and self.peek(1)[1] == "("):
            function = _FUNCTIONS.get(word)
            self.place += 2 if function else 1
            value = self._nested(self.sum)
            if not self.take(")"):
                raise Unreadable(f"a bracket is not closed in {self.typed!r}")
            if function:
                if not value.bare:
                    raise Unreadable(f"{word} takes a number without a unit")
                value = Value(function(value.number))
            return self._with_unit(value)
        if kind == "word":
            return self._spoken()
        raise Unreadable(f"no number was found at {word!r}" if word else
                         f"{self.typed!r} ends where a number is expected")

    def _spoken(self) -> Value:
        """Read a word that stands for a number, or a currency before its number."""
        word = self.peek()[1]
        if (symbol := self.symbol()) and (kind_of(symbol) or "").startswith("money"):
            self.place += 1
            if self.peek()[0] != "number":
                raise Unreadable(f"no number was found after {symbol!r}")
            return self._number(symbol)
        if word in _OFTEN:
            self.place += 1
            return self._with_unit(Value(_OFTEN[word], bare=False))
        if word == "every":
            span = self._span()
            if not span.is_time:
                raise Unreadable("a time is expected after 'every'")
            return replace(Value(1.0).times(span, over=True), period=True)
        if word in ("a", "an") and (self.peek(1)[1] in ("half", "quarter", *_ORDINALS)
                                    or self.symbol(1)):
            self.place += 1
            if self.peek()[1] not in ("half", "quarter", *_ORDINALS):
                return self._with_unit(Value(1.0))
        number = self._worded() * self._scale()
        if number % 1:
            shares = self.asked is None or self.asked.kind in (("", ""), ("time", "time"))
            if self.peek()[1] == "of" and self.peek(1)[1] in ("a", "an") and not (
                    shares and self.symbol(2) == "a"):
                self.place += 1  # "of a year" is a part of all time where a share is asked
            if self.symbol(1) and not (self.symbol(1) == "a" and self.counts):
                self.take("a", "an")  # "half an hour", and not "an eighth a year"
        return self._compound(self._with_unit(Value(number, step=float(number % 1 == 0))))

    def _worded(self) -> float:
        """Read two hundred and eighty-eight, three quarters, an eighth."""
        if part := _ORDINALS.get(self.peek()[1]):
            self.place += 1
            return 1 / part
        if self.peek()[1] not in _WORD_NUMBERS:
            self.not_understood()
        total, below = 0.0, math.inf
        while True:
            word = self.peek()[1]
            if word == "and" and total >= 100 and self.peek(1)[1] in _WORD_NUMBERS:
                self.place += 1
            elif _WORD_NUMBERS.get(word, math.inf) < below:
                total += _WORD_NUMBERS[word]
                below = 10 if _WORD_NUMBERS[word] >= 20 else 0
                self.place += 1
            elif word == "hundred":
                total += 99 * (total % 1000)
                below = math.inf
                self.place += 1
            elif word == "thousand" and self.peek(1)[1] in {*_WORD_NUMBERS, "and"}:
                total *= 1000
                below = math.inf
                self.place += 1
            else:
                break
        if self.take("quarters"):
            return total / 4
        part = _ORDINALS.get(self.peek()[1].removesuffix("s"))
        return total / part if part and self.take(self.peek()[1]) else total

    def _number(self, currency: str = "") -> Value:
        digits = read_digits(self.tokens[self.place][1])
        self.place += 1
        if (part := self._mixed(digits)) is not None:
            return self._with_unit(part)
        scale = self._scale()
        value = Value(math.nan, typed=scale == 1, digits=digits, figures=digits.figures,
                       step=digits.step * scale)
        if currency:
            value = replace(value, above=(currency,), bare=False)
        return self._settled(self._with_unit(value), digits, scale)

    def _settled(self, value: Value, digits: Digits, scale: float) -> Value:
        """Put the number in; where it has two readings, what stands around it decides."""
        if digits.whole is None:
            return replace(value, number=digits.fraction * scale)
        above, below = "".join(value.above), "".join(value.below)
        if value.bare and self.asked is not None:
            above, _, below = self.asked.text.partition("/")
        money = (kind_of(above) or "").startswith("money") and below in ("", "a")
        share = (above,) in SHARES
        if scale != 1 or share or (self.mark and self.mark in digits.text) or (
                digits.likely_fraction and not money):
            number = digits.fraction
        elif self.mark or (money and not digits.likely_fraction):
            number = digits.whole
        else:
            raise TwoReadings(digits.text, digits.fraction, digits.whole)
        return replace(value, number=number * scale, typed=value.typed and digits.likely_fraction)

    def _mixed(self, digits: Digits) -> Value | None:
        """Read 1 1/2, a whole number with a fraction after it."""
        kinds, texts = zip(*(self.peek(ahead) for ahead in range(3)), strict=True)
        if kinds != ("number", "sign", "number") or texts[1] != "/" or digits.mark:
            return None
        over, under = float(read_digits(texts[0]).fraction), float(read_digits(texts[2]).fraction)
        if not 0 < over < under:
            return None
        self.place += 3
        return Value(digits.fraction + over / under)

    def _scale(self) -> float:
        """Take words such as "million"; their product."""
        scale = 1.0
        while self.left and (size := SCALES.get(self.tokens[self.place][1]) or
                             SCALES.get(self.peek()[1])):
            self.place += 1
            scale *= size
        return scale

    def _with_unit(self, value: Value) -> Value:
        found = self.unit()
        if found is None:
            return value
        above, below = found
        if value.above or not value.bare:
            if above and value.above != above:
                raise Unreadable(f"{self.typed!r} holds two units for one number")
            above = value.above
        return replace(value, above=above, below=below or value.below, bare=False,
                       outside=value.bare)

    def _compound(self, value: Value) -> Value:
        """Read 1 min 45 s and 1h45, one time after the other."""
        parts, whole, below = [value], value, ()
        while not below and self.peek()[0] == "number" and self._is_part(parts[-1]):
            last = parts[-1]
            part = self._number()
            if part.bare:
                smaller = {"h": "min", "min": "s"}.get(last.above[0])
                if smaller is None or not re.fullmatch(r"\d\d", part.digits.text):
                    raise Unreadable(f"{self.typed!r} holds more than one number")
                part = replace(part, above=(smaller,), bare=False)
            if part.above == ("m",) and not part.below:  # 5h40m
                part = replace(part, above=("min",))
            if part.below:  # 1 h 33 min a year
                below, part = part.below, replace(part, below=())
            if not part.is_time:
                raise Unreadable(f"{self.typed!r} holds more than one number")
            if last.above == ("m",):
                last = whole = replace(last, above=("min",))
            parts.append(part)
            whole = whole.plus(part)
        if len(parts) == 1:
            return value
        last = parts[-1]
        count = abs(whole.number * whole.size / last.size / last.step) if last.step else 0
        figures = len(f"{count:.0f}") if count else None
        # 10 min 30 s says no more than 10.5 min
        third = 10.0 ** (math.floor(math.log10(abs(whole.number))) - 2) if count else 0.0
        return replace(whole, below=below, figures=figures,
                       step=max(third, last.step * last.size / whole.size))

    def _is_part(self, value: Value) -> bool:
        next_but_one = self.symbol(1)
        minutes = value.above == ("m",) and not value.below and next_but_one in ("s", "ms")
        return minutes or value.is_time

    def _clock(self) -> Value:
        text = self.peek()[1]
        self.place += 1
        parts = [float(part) for part in text.split(":")]
        if any(part >= 60 for part in parts[1:]):
            raise Unreadable(f"{text!r} is no time: minutes and seconds end at 59")
        value = self._with_unit(Value(math.nan))
        if value.bare and len(parts) == 2 and self.asked is not None:
            top = self.asked.text.partition("/")[0]
            if top in ("min", "s", "ms"):
                raise Unreadable(f"{text!r} can be hours and minutes, or minutes and seconds")
        first = "h" if value.bare or len(parts) == 3 else "".join(value.above)
        if first not in ("h", "min"):
            raise Unreadable(f"{text!r} can stand before h or min only")
        number = sum(part / 60 ** place for place, part in enumerate(parts))
        return Value(number, (first,), value.below, bare=False, step=60.0 ** (1 - len(parts)))

    def unit_alone(self) -> Unit:
        """Read a text that is a unit and nothing else."""
        above, below = self.unit() or ((), ())
        if self.left:
            self.not_understood()
        return built(above, below)

    def unit(self) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
        """Read a unit, or the name of what is counted; None where neither stands here."""
        above = self._above()
        if above and self._to_minus_one():
            return (), (above,)
        below = self._below()
        if above is None and below is None:
            return None
        return (above,) if above else (), (below,) if below else ()

    def _above(self) -> str | None:
        kind, word = self.peek()
        if word == "1" and self.peek(1)[1] == "/" and self.symbol(2) is not None:
            self.place += 1
            return ""
        if kind != "word":
            return None
        if word in OF_PARTS and kind_of(self.symbol(1)) == "time":
            self.place += 1
        elif word in ("a", "an") and kind_of(self.symbol(1)) == "time":
            return None  # "3 a year" is no unit of years
        elif word in ("x", "times") and (
                self.peek(1)[0] == "number" or self.peek(1)[1] in ("(", *_WORD_NUMBERS)):
            return None
        symbol = self.symbol()
        if symbol is None and word != "x":
            return "" if self._name() else None
        self.place += 1
        if symbol == "":
            self._name()
        return symbol or ""

    def _name(self) -> bool:
        """Take the name of what is counted, of any words, where a count is asked."""
        start = self.place
        while self.counts and self.left and _NAME.fullmatch(self.tokens[self.place][1]) and (
                self.peek()[1] not in _NO_NAMES and not kind_of(self.symbol())):
            self.place += 1
        return self.place > start

    def _to_minus_one(self) -> bool:
        """Take the power of h^-1, or of h^1, and return whether the unit stands below."""
        texts = [self.peek(ahead)[1] for ahead in range(3)]
        if texts[0] in ("^", "**"):
            del texts[0]
        elif texts[:2] != ["-", "1"]:
            return False
        minus = texts[0] == "-"
        if texts[minus] != "1":
            return False
        self.place += (self.peek()[1] in ("^", "**")) + minus + 1
        return minus

    def _below(self) -> str | None:
        """Take what stands below the stroke, or after "a", "per", "each" or "in a"."""
        word = self.peek()[1]
        if word in _EACH:
            self.place += 1
            return _EACH[word]
        if word != "/" and word not in _PER:
            return None
        ahead = 1
        while word != "/" and self.peek(ahead)[1] in (*_PER, "one", "the") and (
                self.symbol(ahead + 1) is not None):
            ahead += 1
        symbol = self.symbol(ahead)
        if symbol is None and self.peek(ahead)[0] in ("number", "sign"):
            return None  # a number is divided by, and no unit
        if symbol is None and self.peek(ahead)[1] in {*_WORD_NUMBERS, *_PER, *_FUNCTIONS, "e"}:
            return None
        self.place += ahead
        if symbol is None and self.left:
            self.not_understood()
        if not kind_of(symbol):
            raise Unreadable(f"{self.typed!r} has no unit below the stroke")
        self.place += 1
        if self.peek()[1] == "/":
            raise Unreadable(f"{self.typed!r} holds more than one stroke")
        return symbol
