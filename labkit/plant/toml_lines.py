"""On which line of a TOML text each key stands.

`tomllib` gives values without places. This walks over the text once more and notes the line of
every table, key and array entry, by the path that leads to it in the parsed document.

Condition: the text has been read by `tomllib` without an error, so nothing is checked here.
"""

import re
from collections.abc import Mapping

_STRING = r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\])*"|\'[^\']*\''
_TOKEN = re.compile(rf"{_STRING}|#[^\n]*|[\n\[\]{{}}=,]|[^\s\[\]{{}}=,#\"']+", re.DOTALL)
_NAME = re.compile(rf"{_STRING}|[A-Za-z0-9_-]+", re.DOTALL)


def line_numbers(text: str) -> dict[tuple, int]:
    """Return the line of each key of a TOML text.

    Parameters
    ----------
    text : str
        A valid TOML document.

    Returns
    -------
    dict of tuple to int
        Path of keys (str) and positions (int, from 0) to line, from 1.

    >>> line_numbers('format = 1\\n[[part]]\\nmtbf_h = 7')["part", 0, "mtbf_h"]
    3
    """
    return _Walk(text).lines


def line_of(lines: Mapping[tuple, int], path: tuple) -> int:
    """Return the line of a path, or of the nearest thing around it; 0 if there is none.

    >>> line_of({("pair",): 4, ("pair", "units"): 5}, ("pair", "crews"))
    4
    """
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return 0


class _Walk:
    def __init__(self, text: str) -> None:
        self.lines: dict[tuple, int] = {}
        self.counts: dict[tuple, int] = {}
        self.line = 1
        # The table that keys stand in, lists and tables open in the value with the position in a
        # list, the key so far (none in a value), the way to the value.
        self.table: tuple = ()
        self.inside: list[tuple[tuple, int | None]] = []
        self.key: str | None = ""
        self.path: tuple = ()
        for token in map(re.Match.group, _TOKEN.finditer(text.replace("\r\n", "\n"))):
            if token == "\n":
                if not self.inside:
                    self.key = ""
            elif not token.startswith("#"):
                (self._value if self.key is None else self._key)(token)
            self.line += token.count("\n")

    def _note(self, path: tuple) -> None:
        self.lines.setdefault(path, self.line)

    def _key(self, token: str) -> None:
        if token == "}":
            self._value(token)
        elif token == "]":
            self._header()
        elif token != "=":
            self.key += f"{token} "
        else:
            base = self.inside[-1][0] if self.inside else self.table
            for name in self._names():
                base = (*base, name)
                self._note(base)
            self.path, self.key = base, None

    def _names(self) -> list[str]:
        return [name[1:-1] if name[0] in "\"'" else name for name in _NAME.findall(self.key)]

    def _header(self) -> None:
        array, self.table = self.key.startswith("[ ["), ()
        *before, last = self._names()
        for name in before:
            self._enter(name)
        if array:
            self._note((*self.table, last))
            self.counts[*self.table, last] = self.counts.get((*self.table, last), 0) + 1
        self._enter(last)
        self.key = None

    def _enter(self, name: str) -> None:
        """Go into a table, of an array into its last entry."""
        path = (*self.table, name)
        self.table = (*path, self.counts[path] - 1) if path in self.counts else path
        self._note(self.table)

    def _value(self, token: str) -> None:
        path, position = self.inside[-1] if self.inside else (self.path, None)
        if token == ",":
            if position is None:
                self.key = ""
            else:
                self.inside[-1] = path, position + 1
        elif token in ("]", "}"):
            if self.inside:
                self.inside.pop()
            self.key = None
        else:
            here = self.path if position is None else (*path, position)
            self._note(here)
            if token in ("[", "{"):
                self.inside.append((here, 0 if token == "[" else None))
                self.key = "" if token == "{" else None
