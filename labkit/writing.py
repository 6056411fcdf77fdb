"""How files and lines leave this program: whole, under a new name, and safe where they go."""

import csv
import io
import os
import re
import time
import unicodedata
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

# A spreadsheet takes a cell that begins so for a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r")
# Elsewhere no leave is for good.
WAITS_S = (0.01, 0.03, 0.1, 0.3, 0.6) if os.name == "nt" else ()
_DEVICE = re.compile(r"con|prn|aux|nul|(?:com|lpt)[0-9\u00b9\u00b2\u00b3]", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?\d[\d.,\s]*(?:e[+-]?\d+)?\s?%?", re.IGNORECASE)


def csv_text(rows: Iterable[Iterable], delimiter: str = ",", end: str = "\n") -> str:
    """Return rows as the text of a CSV file in which no cell can act as a formula.

    A text that a spreadsheet would calculate gets an apostrophe in front; a number stays as it is.

    References
    ----------
    RFC 4180, "Common Format and MIME Type for Comma-Separated Values (CSV) Files", 2005. What makes
    a cell a formula: OWASP, "CSV Injection" (from memory).

    >>> csv_text([["what", "a year"], ["=1+1", -2.5], ["-a", "+3 %"]])
    "what,a year\\n'=1+1,-2.5\\n'-a,+3 %\\n"
    """
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=end).writerows(
        [_safe_cell(cell) for cell in row] for row in rows)
    return text.getvalue()


def _safe_cell(cell):
    if not isinstance(cell, str):
        return cell
    cell = cell.encode("utf-8", "backslashreplace").decode()
    formula = cell.startswith(FORMULA) and not _NUMBER.fullmatch(cell)
    # A bare carriage return would end the row for some readers, for it is not quoted.
    cell = cell.replace("\r\n", "\n").replace("\r", "\n")
    return f"'{cell}" if formula else cell


def markdown_line(text: object) -> str:
    r"""Return a text as it may stand in Markdown: it starts no tag, no link and no picture.

    >>> print(markdown_line("<b> [a](b), 2 < 3"))
    \<b> \[a](b), 2 < 3
    """
    return re.sub(r"(\\|\[|<(?![ \d]))", r"\\\1", str(text))


def markdown_cell(text: object) -> str:
    """Return a text as it may stand in a cell of a Markdown table."""
    return markdown_line(text).replace("|", "\\|").replace("\n", "<br>")


def is_odd(letter: str) -> bool:
    r"""Say whether a letter steers a terminal, turns others round, or may stand in no XML.

    >>> [is_odd(each) for each in ("a", "\u00e9", "\x1b", "\u202e", "\uffff")]
    [False, False, True, True, True]
    """
    return unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") or letter in "\ufffe\uffff"


def safe_line(text: object) -> str:
    r"""Return a text as one line in which nothing steers a terminal or turns the letters round.

    >>> safe_line("KF1\x1b[2J \u202eoff\ud800")
    'KF1\\x1b[2J \\u202eoff\\ud800'
    """
    return "".join(letter.encode("unicode_escape").decode() if is_odd(letter) else letter
                   for letter in str(text))


def safe_text(text: object) -> str:
    """Return a text with its lines, each as `safe_line`."""
    return "\n".join(map(safe_line, str(text).split("\n")))


def stem_of(words: str, otherwise: str, join: str = "_") -> str:
    r"""Return the name of a file, without ending, that every system takes and that says the words.

    References
    ----------
    Microsoft, "Naming Files, Paths, and Namespaces": what Windows keeps for its devices, and that
    it takes away a dot at the end (from memory).

    >>> [stem_of(words, "story") for words in ("Power cut: 2 s.", "../CON", "con", "\u2603")]
    ['Power_cut_2_s', 'CON_', 'con_', 'story']
    """
    stem = re.sub(r"\W+", join, words).strip("_-")[:60].rstrip("_-") or otherwise
    return f"{stem}_" if _DEVICE.fullmatch(stem) else stem


def problem_text(problem: Exception) -> str:
    """Return what went wrong in words, without the numbers of the system: which file, and why.

    >>> problem_text(FileExistsError(17, "File exists", "papers"))
    'papers: File exists'
    """
    if isinstance(problem, OSError) and problem.strerror:
        where = f"{problem.filename}: " if problem.filename is not None else ""
        return safe_line(f"{where}{problem.strerror}")
    return safe_text(problem)


def patiently(act: Callable, *words: object, **named: object) -> object:
    """Act on a file; where Windows refuses it, for another has it open a moment, try again."""
    for wait_s in WAITS_S:
        try:
            return act(*words, **named)
        except PermissionError:
            time.sleep(wait_s)
    return act(*words, **named)


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Let trouble of the system name this file, and not a part of it or none."""
    try:
        yield
    except OSError as problem:
        raise OSError(problem.errno, problem.strerror or str(problem), str(path)) from None


@contextmanager
def _part(path: Path, text: str | bytes, encoding: str) -> Iterator[Path]:
    """Write the content of a file beside it, and take away what did not become the file."""
    # Two who write one file at once have a part each. 54 letters of 4 bytes and 39 more make 255.
    part = path.with_name(f".{path.name[:54]}.{uuid.uuid4().hex}.part")
    with naming(path):
        try:
            part.write_bytes(
                text if isinstance(text, bytes) else text.encode(encoding, "backslashreplace"))
            yield part
        finally:
            part.unlink(missing_ok=True)


def write_whole(path: str | Path, text: str | bytes, encoding: str = "utf-8") -> Path:
    """Write a file whole or not at all, over one of that name.

    Raises
    ------
    OSError
        When it cannot be written; what was there stays.
    """
    path = Path(path)
    with _part(path, text, encoding) as part:
        patiently(os.replace, part, path)
    return path


def write_new(folder: str | Path, name: str, text: str | bytes, encoding: str = "utf-8") -> Path:
    """Write a new file whole or not at all; where the name is taken it gets a number.

    Raises
    ------
    OSError
        When it cannot be written.
    """
    path = wanted = Path(folder) / name
    number = 1
    with _part(wanted, text, encoding) as part:
        while not _named(part, path):
            number += 1
            path = wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}")
    return path


def _named(part: Path, path: Path) -> bool:
    """Give a part its name, so that the name never stands for less; False where it is taken."""
    try:
        os.link(part, path)
        return True
    except FileExistsError:
        return False
    except OSError:
        # A drive without links: the name is taken first, and stands for nothing until the part has it.
        try:
            path.open("x").close()
        except FileExistsError:
            return False
    try:
        patiently(os.replace, part, path)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return True
