"""The words of the lessons: plain, without judgement, one word for one thing."""

import ast
import re
import tomllib
from pathlib import Path

import nbformat
import pytest

from tests.notebooks import ROOT, lessons

# "Just" and its kin tell a learner that the difficulty is their own fault: The Carpentries,
# Instructor Training, "Building a learning environment"; the list is ours.
BANNED = {
    r"just": "tells the learner that the difficulty is their own",
    r"simply": "tells the learner that the difficulty is their own",
    r"easy|easily": "tells the learner that the difficulty is their own",
    r"obvious|obviously": "tells the learner that the difficulty is their own",
    r"of course": "tells the learner that the difficulty is their own",
    r"trivial|trivially": "tells the learner that the difficulty is their own",
    r"clearly": "tells the learner that the difficulty is their own",
    r"\w+n't|(?:i|you|we|they|it|that|there|what|let|here)'(?:s|re|ve|ll|d|m)": "a contraction",
    r"well done|good job|bravo": "praise of a person",
    r"wrong!|stupid|silly|careless": "a judgement of a person",
    # One word per thing: switchover, active and standby.
    r"fail-?over|change-?over": "our word is switchover",
    r"masters?|slaves?": "our words are active and standby",
    r"back-?up controller": "our word is standby",
    r"shared causes?": "our word is common cause",
    r"silent faults?": "our word is latent fault",
    r"changes? of roles": "our word is switchover, planned or not",
    r"transfers?": "our word is switchover",
    r"false trips?": "our word is false alarm; trip is said of protection",
    r"bursts?": "our word is gap of beats; a burst is another thing in IEC 61000-4-4",
}
TEXTS = [*lessons(), *sorted((ROOT / "lessons").rglob("*.py")),
         *sorted((ROOT / "lessons" / "items").glob("*.toml")),
         *sorted((ROOT / "lessons" / "exercises").glob("*.toml")),
         *sorted((ROOT / "lessons" / "papers").glob("*.toml"))]


def strings(thing):
    """Yield the texts in a document of tables and lists."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, dict):
        for part in thing.values():
            yield from strings(part)
    elif isinstance(thing, list):
        for part in thing:
            yield from strings(part)



def learner_texts(path: Path) -> list[str]:
    """Return what a learner reads of a file: texts and outputs, or the strings of a module."""
    if path.suffix == ".ipynb":
        notebook = nbformat.read(path, as_version=4)
        texts = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
        for cell in notebook.cells:
            for output in cell.get("outputs", []):
                texts.append(output.get("text", ""))
                texts.extend(
                    text
                    for kind, text in output.get("data", {}).items()
                    if kind in ("text/html", "text/markdown", "image/svg+xml")
                )
        return texts
    if path.suffix == ".toml":
        return [text for text in strings(tomllib.loads(path.read_text("utf-8"))) if " " in text]
    tree = ast.parse(path.read_text(encoding="utf-8"))
    # Docstrings are for developers; a pattern for what a learner may type is no text.
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and id(node) not in docstrings
        and " " in node.value
        and "(?:" not in node.value
    ]


def found_in(pattern: str, text: str) -> list[str]:
    text = text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    return [
        text[max(0, hit.start() - 30) : hit.end() + 30]
        for hit in re.finditer(rf"(?<![\w'])(?:{pattern})(?![\w])", text, re.IGNORECASE)
    ]


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.stem)
def test_banned_words(path):
    found = [
        (why, hit)
        for text in learner_texts(path)
        for pattern, why in BANNED.items()
        for hit in found_in(pattern, text)
    ]
    assert not found


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.stem)
def test_no_exclamation_marks(path):
    found = []
    for text in learner_texts(path):
        # An inequality, a picture and a comment in HTML are none.
        prose = re.sub(r"!=|!\[|<!|`[^`]*`|\$[^$]*\$", "", text)
        found += re.findall(r".{0,30}\w!(?!\w)", prose)
    assert not found


@pytest.mark.parametrize(
    ("text", "hits"),
    [
        ("Just add the rates.", 1),
        ("Adjust the rates justly.", 0),
        ("That's it, and it isn\N{RIGHT SINGLE QUOTATION MARK}t hard.", 2),
        ("The controller's rack; the racks' owner.", 0),
        ("A failover, a fail-over, a switchover.", 2),
        ("Of course it is EASY, obviously.", 3),
        ("A course of the easternmost cable.", 0),
    ],
)
def test_the_patterns_find_words_and_not_parts_of_words(text, hits):
    assert sum(len(found_in(pattern, text)) for pattern in BANNED) == hits
