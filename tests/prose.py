"""Read the prose of the notebooks: sentences, numbers, and the words of the glossary.

    python -m tests.prose [lesson ...]    write the line of words that closes the first cell
"""

from __future__ import annotations

import ast
import html
import re
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import nbformat

from tests.notebooks import ROOT, lessons, stored_text

__all__ = [
    "GLOSSARY",
    "Word",
    "given_numbers",
    "glossary",
    "numbers_of",
    "is_answer",
    "only_calls",
    "paragraphs",
    "sentences",
    "words_line",
    "words_used",
]

GLOSSARY = ROOT / "lessons" / "glossary.ipynb"

NUMBER = re.compile(r"(?<![\w.])\d{1,3}(?:[ \u202f]\d{3})+(?![\d.])|(?<![\w.])\d+(?:\.\d+)?")
"""As a text writes it: 60 000 in two groups, 8.5 with a point; not the 1 of KF1."""
NAMED = re.compile(r"(?:IEC|ISO|EIA|SIL)[ -][\d-]+(?::\d{4})?|MIL-HDBK-\w+|\b\d\d:\d\d\b|"
                   r"lessons? \[?\d\d\]?|[Ss]ection \d+(?:\.\d+)*")
"""Numbers that name something: a standard and its section, a time of day, a lesson."""
OTHER_MEANING = re.compile(r"(?:decimal|weak|rest|one|which) points?|dashed frame|over that gap|"
                           r"(?:delete the|in the|year of|do the|collect) records?|support terms", re.IGNORECASE)
"""Where a word of the glossary is said of another thing."""


def paragraphs(markdown: str) -> list[str]:
    """Return the paragraphs and the items of lists; tables, headings and blocks of code left
    out."""
    text = re.sub(r"^```.*?^```", "", markdown, flags=re.MULTILINE | re.DOTALL)
    found: list[str] = []
    for block in re.split(r"\n\s*\n", text):
        lines = [line for line in block.splitlines() if not re.match(r"\s*(?:\||#)", line)]
        for number, line in enumerate(lines):
            item = re.match(r"\s*(?:[-*]|\d+\.)\s+", line)
            if number == 0 or item:
                found.append(line[item.end() if item else 0 :].strip())
            else:
                found[-1] += " " + line.strip()
    return found


def sentences(paragraph: str) -> list[str]:
    """Return the sentences of a paragraph; a formula and a piece of code are a word each.

    A colon and a semicolon end a sentence here, since they end what a reader holds in mind.
    """
    text = re.sub(r"\$\$?[^$]*\$\$?|`[^`]*`", "X", paragraph)
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", text).replace("*", "")
    return [part for part in re.split(r"(?<=[.?:;])[\"')]*\s+", text) if re.search(r"\w", part)]


def numbers_of(text: str) -> list[float]:
    """Return the numbers of a text; those in its links and in names of standards left out."""
    text = NAMED.sub(" ", re.sub(r"\]\([^)]*\)", "]", text))
    return [float(re.sub(r"[ \u202f]", "", hit)) for hit in NUMBER.findall(text)]


def given_numbers(notebook: nbformat.NotebookNode) -> set[float]:
    """Return the numbers that the cells of a lesson print, or hold in their code as data."""
    parts = []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            # What 60_000 and 6e4 say in code, 60 000 says in a text.
            parts.append(re.sub(r"(?<=\d)_(?=\d)", "", cell.source))
            for output in cell.outputs:
                parts.append(output.get("text", ""))
                for kind, data in output.get("data", {}).items():
                    parts.append(html.unescape(re.sub(r"<[^>]+>", " ", data))
                                 if kind.startswith("text/") else "")
    text = "\n".join(parts)
    joined = re.findall(r"\d+(?:[ \u202f]\d{3})*(?:\.\d+)?(?:e[+-]?\d+)?", text)
    alone = re.findall(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?", text)
    return {float(re.sub(r"[ \u202f]", "", hit)) for hit in (*joined, *alone)}


def is_answer(source: str) -> bool:
    """Return whether a cell holds the worked answers of problems, which are folded whole."""
    return source.startswith("# Worked answers\n")


def only_calls(source: str) -> bool:
    """Return whether a cell calls a question or a panel and holds nothing to be read beside."""
    *before, last = ast.parse(source).body
    if not isinstance(last, ast.Expr) or not isinstance(last.value, ast.Call):
        return False
    called = ast.unparse(last.value.func)
    asked = called.endswith("_panel") or called in {
        "ask", "my_record", "predict_first", "recall", "steps"}
    return asked and all(
        isinstance(line, ast.Import | ast.ImportFrom)
        or isinstance(line, ast.Assign) and not any(
            isinstance(node, ast.Call) for node in ast.walk(line.value))
        for line in before)


@dataclass(frozen=True)
class Word:
    """One entry of the glossary.

    Parameters
    ----------
    term : str
        As in its heading.
    text : str
        What stands below the heading.
    lesson : str
        Number of the lesson that explains it.
    """

    term: str
    text: str
    lesson: str

    @property
    def written(self) -> str:
        """How lessons write it: a symbol where the entry names one, else the term."""
        symbol = re.match(r"Written (\S+):", self.text)
        return symbol.group(1) if symbol else self.term

    def linked(self, title: str = "") -> str:
        """Return the word as a link to the cell of its entry; a pointer that rests shows a title.

        JupyterLab finds a cell as soon as the file is open, and a heading only once it is drawn:
        the first click on a link to a heading would land at the top.
        """
        target = f"{GLOSSARY.name}#cell-id={self.cell_id}" + (f' "{title}"' if title else "")
        return f"[{self.written}]({target})"

    @property
    def meaning(self) -> str:
        """What the word means, in plain letters: without the name in code and the lesson."""
        said = re.split(r" (?:In code|Lesson \[)", re.sub(r"^Written \S+: ", "", self.text))[0]
        return re.sub(r'[*"()]', "", said)

    @property
    def cell_id(self) -> str:
        """Identifier of the cell of its entry."""
        return "word-" + re.sub(r"[^A-Za-z0-9]+", "-", self.term)

    @property
    def pattern(self) -> re.Pattern[str]:
        """What finds the word in a text: names of lamps and symbols only as they are written."""
        as_written = self.written != self.written.lower()
        ending = "" if as_written else "(?:s|es)?"
        # of "gap of beats" the plural is "gaps of beats"
        head, of, rest = self.written.partition(" of ")
        spaced = re.escape(head) + ending + re.escape(of + rest)
        spaced = spaced.replace(r"\ ", r"[\s-]")
        flags = 0 if as_written else re.IGNORECASE
        return re.compile(rf"(?<![\w-]){spaced}(?![\w])", flags)


@cache
def glossary() -> tuple[Word, ...]:
    """Return the entries of the glossary."""
    source = "\n\n".join(
        cell.source for cell in nbformat.read(GLOSSARY, as_version=4).cells
        if cell.cell_type == "markdown"
    )
    entries = re.findall(r"^### (.+?)\n\n(.+?)(?=\n\n|\Z)", source, re.MULTILINE | re.DOTALL)
    return tuple(
        Word(term, " ".join(text.split()), re.search(r"\[(\d\d)\]", text).group(1))
        for term, text in entries
    )


def words_used(notebook: nbformat.NotebookNode) -> list[Word]:
    """Return the words of the glossary that the prose of a lesson uses, in order of first use."""
    parts = [part for cell in notebook.cells if cell.cell_type == "markdown"
             for part in paragraphs(cell.source) if GLOSSARY.name not in part]
    text = OTHER_MEANING.sub(" ", re.sub(r"\]\([^)]*\)", "]", " ".join(parts)).replace("*", ""))
    found = []
    for word in glossary():
        own = text
        for longer in glossary():  # a gap of beats is no gap
            if longer.written.startswith(f"{word.written} "):
                own = longer.pattern.sub(lambda hit: " " * len(hit[0]), own)
        if hit := word.pattern.search(own):
            found.append((hit.start(), word))
    return [word for _, word in sorted(found, key=lambda pair: pair[0])]


def words_line(notebook: nbformat.NotebookNode, number: str) -> str:
    """Return the line that names the words of a lesson, those first that it explains.

    A word that it explains has its meaning where it stands out, the others have it in the link.
    """
    words = words_used(notebook)
    new = [word.linked() for word in words if word.lesson == number]
    other = [word.linked(word.meaning) for word in words if word.lesson != number]
    named = (("New words", new), ("Words of other lessons", other))
    return " ".join(f"**{title}** {', '.join(links)}." for title, links in named if links)


def write_words_line(path: Path) -> None:
    """Put the line of words at the end of the first cell of a lesson, in place of an older one."""
    notebook = nbformat.read(path, as_version=4)
    first = notebook.cells[0]
    kept = [part for part in first.source.split("\n\n") if GLOSSARY.name not in part]
    first.source = "\n\n".join([*kept, words_line(notebook, path.stem[:2])])
    path.write_text(stored_text(notebook), encoding="utf-8")


if __name__ == "__main__":
    for lesson in map(Path, sys.argv[1:]) if sys.argv[1:] else lessons():
        write_words_line(lesson)
