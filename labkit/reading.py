"""How files that people made come in: at most so long, in whatever letters, rows with their lines."""

import csv
import io
import json
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path

from labkit.writing import FORMULA, naming

LARGEST_BYTES = 20_000_000


def read_bytes(path: str | Path) -> bytes:
    """Return what a file holds.

    Raises
    ------
    ValueError
        When it is no file, such as a folder, a pipe or a device, or is too long.
    OSError
        When it cannot be read.
    """
    path = Path(path)
    if not stat.S_ISREG(path.stat().st_mode):
        raise ValueError(f"{path} must be a file, got a folder, a pipe or a device")
    with naming(path), path.open("rb") as file:
        content = file.read(LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        raise ValueError(f"{path} must have at most {LARGEST_BYTES} bytes, got more")
    return content


def read_utf8(path: str | Path) -> str:
    """Return the text of a file that a program has written.

    Raises
    ------
    ValueError, OSError
        As `read_bytes`; also when it is no text in UTF-8.
    """
    data = read_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ValueError(f"line {line}: must be text in UTF-8, got byte "
                         f"0x{data[error.start]:02x}") from None


def json_of(text: str, name: str) -> object:
    """Return what a text in JSON holds.

    Raises
    ------
    ValueError
        When it cannot be read; the message begins with `name` and has the place.
    """
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        found = f"line {error.lineno}, column {error.colno}: {error.msg}"
    except RecursionError:
        found = "lists in one another without end"
    except ValueError:
        found = "a number of thousands of digits"
    raise ValueError(f"{name} must be JSON, got {found}")


def read_decoded(path: str | Path) -> tuple[str, list[str]]:
    """Return the text of a file that a spreadsheet has written, and what was odd about it.

    It is read as UTF-8, as UTF-16 where a mark says so, or else as Windows-1252.

    Raises
    ------
    ValueError, OSError
        As `read_bytes`.
    """
    data = read_bytes(path)
    if data.startswith((b"PK\x03\x04", b"\x1f\x8b")):
        raise ValueError(f"{path} must be text, such as CSV, got a packed file (xlsx, ods, zip, gz)")
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding), []
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return data.decode("cp1252", errors="replace"), [
            f"line {line}: not UTF-8; read as Windows-1252 (cp1252), look at accents"]


def read_table(module: str) -> dict:
    """Return the table beside a module, in TOML; in its rows a text of lines is one sentence."""
    table = tomllib.loads(Path(module).with_suffix(".toml").read_text("utf-8"))
    for row in (row for rows in table.values() for row in rows if isinstance(row, dict)):
        row |= {key: said.replace("\n", " ") for key, said in row.items() if isinstance(said, str)}
    return table


def separator_of(head: str) -> str:
    """Return what stands between the cells of a line.

    >>> separator_of("start;end;text, if any")
    ';'
    """
    return max(",;\t", key=head.count)


def rows_of(text: str, separator: str, first_line: int = 1) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows of CSV, each with the number of the line that it ends in.

    Raises
    ------
    ValueError
        When a row cannot be read; the message names its line.

    >>> list(rows_of("a,b\\n1,2\\n", ","))
    [(1, ['a', 'b']), (2, ['1', '2'])]
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for cells in reader:
            yield first_line - 1 + reader.line_num, list(map(_plain, cells))
    except csv.Error as error:
        line = first_line - 1 + reader.line_num
        raise ValueError(f"line {line}: the row cannot be read: {error}") from None


def _plain(cell: str) -> str:
    """Take away the apostrophe that keeps a text from being calculated."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA) else cell
