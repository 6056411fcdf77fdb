"""A text turned into another language, as a whole or by the sentences that it is made of.

Inside, the workbook speaks English: models, questions and panels know of no other language, and
none of their sentences is marked. What leaves it is turned here. The template of a sentence, with
its names in braces, is its id in the catalogue; what stood in the braces is turned in the same way.
"""

import functools
import itertools
import re
from collections.abc import Callable, Mapping
from html import escape, unescape
from urllib.parse import quote, unquote

from labkit.wording import capital, unbroken

PLACE = re.compile(r"\{[^{}]*\}")
UNITS = {"h", "min", "s", "ms", "cm", "mm", "mg", "km", "kg", "kw", "µs", "keur", "meur", "labkit", "lessons"}
SPLITS = [re.compile(each) for each in (
    r"(\n+)", r"(^(?:[A-Z]+\d[\w.]*|[A-Z]{4,}(?: [A-Z]+)*)[:,]?\s+)", r"(\s+\(|\)\s*)",
    r"(,\s+)", r"(\s+and\s+)", r"(\s+or\s+)", r"(\s+over$)", r"(\s+\+\s+|\s*[/|=→·–]\s*|\s+-\s+|\u2002|\s{2,})",
    r"(\s+[A-Z]+\d[\w.]*$)", r"(\s*(?:\+|->)\s*)", "([\"'])")]
BEFORE = re.compile(r"(?:#+|[a-z0-9][.)]|\d\d|Or|Also)\s+")
DECIMAL = re.compile(r"(?<![\w.])(-?\d[\d\u202f]*)\.(\d+)(?![\w.]*\d)")
MOST_TOGETHER, MOST_KNOWN = 8, 50_000
ENGRAVED = {*"ACTIVE READY ALONE LOADING FAILED SUPPLY DATA PLANT LINK WRITER FRAMES NEAR FAR".split(),
            *"STANDBY STOPPED OFF EUR CSV MTBF MTTR".split()}
"""What stands on the plates of lamps and roles, and short names: these are read as they are."""
CALL = re.compile(r"\b\w+\('[^()]*\)|(?<!\w)'[^']*'(?!\w)")
IN_PLACE = r"((?:(?![.?!]\s).)*?[.?!]?)"
"""What may stand in a place: no more than one sentence."""
BY_PEOPLE = {"{folder}", "{path}", "{aside}", "{label}", "{names}", "{reason}"}
"""Places in which stands what somebody has written, in whatever words."""
FURTHER = re.compile(r"[.?]$|, (?:and|counted|doubled|taken|in per cent)\b|\d (?:\S+ )?and the\b")
QUOTED = re.compile(r"\}\s?[“”»]")
"""What ends a place, or comes after it, is not to stand inside the quotes of a place."""
LONG = 6
"""A form with fewer letters of its own takes nothing but numbers and designations."""
SENTENCES = re.compile(r"((?<=[.?!:;])\s+)")
TAG = re.compile(r"(<[^>]*>)")
SAID = re.compile(r'\b(alt|title|placeholder|aria-\w*label|aria-valuetext|data-name|data-state)="([^"]*)"')
PICTURE = re.compile(r'(src="data:image/svg\+xml;utf8,)([^"]*)"')


def is_neutral(text: str) -> bool:
    """Say whether a text has no word of a language: numbers, units, designations, names of files.

    >>> is_neutral("KF1: 0.46 1/a"), is_neutral("KF1 leads")
    (True, False)
    """
    for word in re.split(r"[\s/×*+=()<>,;:'\"…%|&]+", CALL.sub("", text)):
        bare = word.strip(".?!-_[]{}#")
        if (any(letter.islower() for letter in bare) and len(bare) > 1 and bare.lower() not in UNITS
                and not re.search(r"\d|_|\.\w{2,5}$", bare)):
            return False
        if len(bare) > 2 and bare.isalpha() and bare.isupper() and bare not in ENGRAVED:
            return False
    return True


class Turner:
    """Turn what is said into another language, and keep what could not be turned.

    Parameters
    ----------
    entries : mapping of str to str
        The catalogue: what is said, as a template, and how.
    decimal : str
        What stands before the decimals of a number.
    tag : str
        What a page says of its language, by BCP 47.

    >>> turner = Turner({"{unit} leads": "{unit} führt", "one failed": "eins ausgefallen"}, ",")
    >>> turner("KF1 leads; one failed; 0.5 h; who knows"), turner.missed
    ('KF1 führt; eins ausgefallen; 0,5 h; who knows', {'who knows'})
    """

    def __init__(self, entries: Mapping[str, str], decimal: str, tag: str = "en") -> None:
        self.decimal, self.tag = decimal, tag
        self.missed: set[str] = set()
        self.used: set[str] = set()
        self.exact = dict(entries)
        self._known: dict[str, tuple[str | None, tuple[str, ...]]] = {}
        self._trail: list[str] = []
        self._back: dict[str, str] = {}
        self._forms = []
        for said, turned in sorted(entries.items(), key=lambda pair: -len(PLACE.sub("", pair[0]))):
            pieces = PLACE.split(said)
            if len(pieces) > 1 and re.search(r"[a-z]{2}|[A-Z]{3}", "".join(pieces)):
                self._forms.append((max(pieces, key=len), said, turned, len("".join(pieces)) < LONG))

    def __call__(self, text: str) -> str:
        """Turn a text as far as it can be turned."""
        whole = self._whole(text)
        if whole is not None:
            return whole
        if "\n" in text:
            return "".join(map(self, SPLITS[0].split(text)))
        parts = SENTENCES.split(text)
        if len(parts) == 1:
            return self._as_is(text)
        self._trail.clear()
        out = "".join(self._as_is(part) if turned is None else turned
                      for turned, part in self._runs(parts))
        self.used.update(self._trail)
        return out

    def whole(self, text: str) -> str:
        """Return a text turned as a whole, or as it is; nothing is noted."""
        return self._turned(text) or text

    def back(self, text: str) -> str:
        """Return the English of a text that stands in the catalogue by itself; others as they are."""
        if not self._back:
            self._back.update((turned.lower(), said) for said, turned in reversed(self.exact.items()))
        return text if text in self.exact else self._back.get(text.strip().lower(), text)

    def keep(self, text: str) -> None:
        """Leave a text as it is from now on: it is in the other language."""
        self._known[text] = text, ()

    def _whole(self, text: str) -> str | None:
        self._trail.clear()
        turned = self._turned(text)
        self.used.update(self._trail)
        return turned

    def _as_is(self, text: str) -> str:
        self.missed.add(text.strip())
        return self._numbers(text)

    def _runs(self, parts: list[str]) -> list[tuple[str | None, str]]:
        """Turn sentences, as many of them together as the catalogue has together.

        Of all ways to take them together, that which leaves the fewest out, in the fewest runs.
        """
        best: list[tuple[int, int, list]] = [(0, 0, [])] * (len(parts) + 2)
        for at in range(len(parts) - 1, -1, -2):
            ways = []
            for many in range(1, min(len(parts) - at, 2 * MOST_TOGETHER) + 1, 2):
                mark = len(self._trail)
                turned = self._turned("".join(parts[at:at + many]))
                del self._trail[mark:]
                if turned is not None or many == 1:
                    missed, runs, rest = best[at + many + 1]
                    between = [(part, part) for part in parts[at + many:at + many + 1]]
                    ways.append((missed + (turned is None), runs + 1,
                                 [(turned, "".join(parts[at:at + many])), *between, *rest]))
            best[at] = min(ways, key=lambda way: way[:2])
        for turned, part in best[0][2]:
            if turned is not None and part.strip():
                self._turned(part)
        return best[0][2]

    def _numbers(self, text: str) -> str:
        return DECIMAL.sub(rf"\1{self.decimal}\2", text)

    def _turned(self, text: str) -> str | None:
        """Return a text turned as a whole; None where some of it is not in the catalogue."""
        if len(self._known) > MOST_KNOWN:
            self._known.clear()
        if text not in self._known:
            self._known[text] = None, ()  # a text is no part of itself
            core, mark = text.strip(), len(self._trail)
            found = self._exact(core) if core else ""
            if found is None and is_neutral(core):
                found = self._numbers(core)
            if found is None:
                found = self._formed(core)
            if found is None:
                found = self._in_parts(core)
            if found is not None:
                found = text.replace(core, found) if core else text
            self._known[text] = found, tuple(self._trail[mark:])
            del self._trail[mark:]
        found, used = self._known[text]
        self._trail += used
        return found

    def _exact(self, core: str) -> str | None:
        for end in ("", ".", ":", "?", ",", ";"):
            if not core.endswith(end) or core == end:
                continue
            said = core[:len(core) - len(end)]
            full, small = f"{said}." if end not in ("", ".") else said, said[:1].lower() + said[1:]
            for entry in (full, said, small):
                if entry in self.exact:
                    self._trail.append(entry)
                    turned = self.exact[entry].removesuffix("." if entry == full != said else "")
                    return (turned if entry in (full, said) else capital(turned)) + end
        return None

    def _formed(self, core: str) -> str | None:
        """Fill the form that a text has, if what is in its places can be turned as well."""
        small = core[:1].lower() + core[1:]
        for text, end in dict.fromkeys(
                (each.removesuffix(end), end) for end in ("", ".", ":", "?", ";")
                for each in (core, small) if each.endswith(end)):
            for probe, said, turned, short in self._forms:
                if probe not in text or not (found := _pattern(said).fullmatch(text)):
                    continue
                if short and not all(map(is_neutral, found.groups())):
                    continue
                last = found[found.lastindex]
                if said.endswith("}") and (last.endswith(":") or re.search(r": .*\?$", last + end)
                                           or (FURTHER.search(last) and QUOTED.search(turned))):
                    continue  # a question after a colon is a sentence by itself
                mark = len(self._trail)
                filled = [group if turned is None and place in BY_PEOPLE else turned for place, group, turned
                          in zip(PLACE.findall(said), found.groups(), map(self._turned, found.groups()))]
                if None in filled:
                    del self._trail[mark:]
                    continue
                self._trail.append(said)
                values = dict(zip(PLACE.findall(said), filled, strict=True))
                result = PLACE.sub(lambda place: values.get(place[0], place[0]), turned) + end
                return result if core.startswith(text[:1]) else capital(result)
        return None

    def _in_parts(self, core: str) -> str | None:
        mark = len(self._trail)
        if BEFORE.match(core):
            before, rest = BEFORE.match(core)[0], core[BEFORE.match(core).end():]
            turned = self._turned(rest)
            if turned is not None:
                return self._between(before) + turned
        parts = SENTENCES.split(core)
        turned = [each for each, _ in self._runs(parts)] if len(parts) > 1 else [None]
        if None not in turned:
            return "".join(turned)
        del self._trail[mark:]
        for split in SPLITS:
            parts = [part for part in split.split(core) if part]
            if len(parts) < 2:
                continue
            turned = [self._between(part) if split.fullmatch(part) else self._turned(part)
                      for part in parts]
            if None not in turned:
                return "".join(turned)
            del self._trail[mark:]
        return None

    def _between(self, part: str) -> str:
        word = part.strip()
        return part.replace(word, self.exact[word]) if word in self.exact else part

    # ------------------------------------------------------------ pages

    def html(self, page: str) -> str:
        """Turn what is read in a page or a picture: its texts, and what is said of its parts."""
        out, inside = [], []
        for part in TAG.split(page):
            if part.startswith("<") and part.endswith(">"):
                name = re.match(r"</?([\w-]*)", part)[1]
                if name in ("style", "script", "pre", "code", "samp"):
                    inside = inside[:-1] if part[1] == "/" else [*inside, name]
                out.append(self._tag(part) if '="' in part else part)
            elif not part.strip() or {"style", "script", "code", "samp"} & {*inside}:
                out.append(part)
            elif "pre" in inside:
                out.append(escape(self.lines(unescape(part)), quote=False))
            else:
                out.append(self._text_of(part))
        return re.sub(r"(<option)((?: selected)?>)([^<]*)", self._option(page), "".join(out))

    def _option(self, page: str) -> Callable[[re.Match], str]:
        """Keep what an option means, whatever is read in it."""
        meant = iter(re.findall(r"<option(?: selected)?>([^<]*)", page))
        return lambda found: (f'{found[1]} value="{next(meant)}"{found[2]}{found[3]}')

    def _text_of(self, part: str) -> str:
        text = unescape(part).replace("\xa0", " ")
        lines = [self._whole(line) for line in text.split("\n")]
        turned = "\n".join(lines) if None not in lines else self(re.sub(r"\s+", " ", text))
        if turned == text:
            return part
        return escape(unbroken(turned) if "\xa0" in unescape(part) else turned, quote=False)

    def _tag(self, tag: str) -> str:
        tag = SAID.sub(lambda found: f'{found[1]}="{escape(self(unescape(found[2])))}"', tag)
        return PICTURE.sub(lambda found: found[1] + quote(
            self.html(unquote(found[2])), safe=" !$&'()*+,-./:;=?@[]_{}~").replace("&", "%26") + '"', tag)

    def lines(self, text: str) -> str:
        """Turn a text whose long lines were folded, and fold them as they were."""
        wide, deep = (96, 4) if re.search(r"(?m)^ {4}\S|^.{89}", text) else (88, 2)
        out, last = [], 0
        for line in text.split("\n"):
            word = re.match(rf" {{{deep}}}(?!\w+\()(\S+)", line)
            if out and word and last + 1 + len(word[1]) > wide:
                out[-1] += " " + line.strip()
            else:
                out.append(line)
            last = len(line)
        return "\n".join(map(self, out))

    def script(self, source: str) -> str:
        """Turn the texts in quotes of a script; single words there may be names of its own."""
        for said, turned in self.exact.items():
            if " " not in said:
                continue
            for mark, end in itertools.product("\"`", ("", " ")):
                if mark in turned or "\\" in turned:
                    continue
                before, after = (text.replace("{", "${") if mark == "`" else text
                                 for text in (said, turned))
                source = source.replace(f"{mark}{before}{end}{mark}", f"{mark}{after}{end}{mark}")
        return source


@functools.cache
def _pattern(said: str) -> re.Pattern:
    pieces = PLACE.split(said)
    return re.compile(IN_PLACE.join(map(re.escape, pieces)), re.DOTALL)
