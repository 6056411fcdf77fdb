"""On which line of a TOML text each key stands.

`tomllib` gives values without places. This walks over the text once more and notes the line of
every table, key and array entry, by the path that leads to it in the parsed document.

Condition: the text has been read by `tomllib` without an error, so nothing is checked here.
"""

import re
from bisect import bisect_left
from collections.abc import Mapping

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\s#]+(?: (?=\d\d:)[^,\]}\s#]+)?")
_GAP = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_STRING = re.compile(r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\])*"|\'[^\']*\'',
                     re.DOTALL)


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
        self.text = text.replace("\r\n", "\n")
        self.at = 0
        self.ends = [match.start() for match in re.finditer("\n", self.text)]
        self.lines: dict[tuple, int] = {}
        self.counts: dict[tuple, int] = {}
        table: tuple = ()
        self._gap()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._gap()

    def _gap(self) -> None:
        self.at = _GAP.match(self.text, self.at).end()

    def _note(self, path: tuple, at: int) -> None:
        self.lines.setdefault(path, bisect_left(self.ends, at) + 1)

    def _take(self, pattern: re.Pattern) -> str:
        match = pattern.match(self.text, self.at)
        self.at = match.end()
        return match.group()

    def _key(self) -> tuple[str, ...]:
        names = []
        while True:
            self._gap()
            quoted = self.text[self.at] in "\"'"
            name = self._take(_STRING if quoted else _BARE)
            names.append(name[1:-1] if quoted else name)
            self._gap()
            if self.text[self.at] != ".":
                return tuple(names)
            self.at += 1

    def _inside(self, names: tuple[str, ...]) -> tuple:
        """Return the path of a table, with the position of the last entry of each array."""
        path: tuple = ()
        for name in names:
            path = (*path, name)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def _header(self) -> tuple:
        start = self.at
        array = self.text.startswith("[[", start)
        self.at += 2 if array else 1
        names = self._key()
        self.at += 2 if array else 1
        for end in range(1, len(names)):
            self._note(self._inside(names[:end]), start)
        if array:
            path = (*self._inside(names[:-1]), names[-1])
            self._note(path, start)
            self.counts[path] = self.counts.get(path, 0) + 1
            path = (*path, self.counts[path] - 1)
        else:
            path = self._inside(names)
        self._note(path, start)
        return path

    def _pair(self, table: tuple) -> None:
        start = self.at
        names = self._key()
        for end in range(1, len(names) + 1):
            self._note((*table, *names[:end]), start)
        self.at += 1
        self._gap()
        self._value((*table, *names))

    def _value(self, path: tuple) -> None:
        first = self.text[self.at]
        if first == "[":
            self._list(path)
        elif first == "{":
            self._list(path, named=True)
        else:
            self._take(_STRING if first in "\"'" else _SCALAR)

    def _list(self, path: tuple, named: bool = False) -> None:
        self.at += 1
        position = 0
        while True:
            self._gap()
            if self.text[self.at] in "]}":
                self.at += 1
                return
            if named:
                self._pair(path)
            else:
                self._note((*path, position), self.at)
                self._value((*path, position))
                position += 1
            self._gap()
            if self.text[self.at] == ",":
                self.at += 1
