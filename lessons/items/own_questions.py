"""An instructor's own questions: text files in a folder beside the notebooks.

A file has the form of those of the lessons (:mod:`lessons.exercises.item_file`), with numbers,
choices, orders, tables and worked steps. Its name is the number of its lesson: what stands in
``questions/mine.toml`` is ``mine-`` and a name. It is checked before it is asked
(:mod:`lessons.items.question_check`).
"""

import functools
import os
import re
from pathlib import Path

from labkit.plant.file import Finding, read_toml
from labkit.plant.schema_words import in_words, values
from labkit.plant.toml_lines import line_of
from labkit.reading import read_bytes
from lessons.exercises.item import Lesson
from lessons.exercises.item_file import items_of
from lessons.items.question_check import QuestionCheck

FOLDER_VARIABLE = "WORKBOOK_QUESTIONS"


# ---------------------------------------------------------------- where they are


def own_files() -> dict[str, Path]:
    """Return the files of the instructor's own questions by their names.

    They lie in the folder `questions` where the notebook or the command runs, or in the one that
    the environment names.
    """
    folder = Path(os.environ.get(FOLDER_VARIABLE) or "questions")
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def own_file(name: str) -> Path | None:
    """Return the file of one name; None where there is none."""
    return own_files().get(name)


def own_lesson(path: Path) -> Lesson:
    """Return what a file asks, as it is now.

    Raises
    ------
    ValueError
        Where something is wrong in it; each line says what.
    """
    at = path.stat()
    return _read(path, at.st_mtime_ns, at.st_size)


@functools.lru_cache(maxsize=256)
def _read(path: Path, *state: int) -> Lesson:
    findings, lesson = _checked(path)
    if lesson is None:
        wrong = [each for each in findings if each.severity == "error"]
        raise ValueError("\n  ".join([f"{path} must be without errors, got {len(wrong)}",
                                      *map(str, wrong[:10])]))
    return lesson


def holds_questions(path: str | Path) -> bool:
    """Say whether a file is one of questions, and not of a plant."""
    path = Path(path)
    if not path.is_file():
        return False
    text = read_bytes(path).decode("utf-8", "replace")
    return path.parent.name == "questions" or bool(re.search(r"^\s*\[\[\s*item", text, re.MULTILINE))


# ---------------------------------------------------------------- what is wrong in one


def check_questions(path: str | Path) -> list[Finding]:
    """List what is wrong in a file of questions, in the order of its lines."""
    return _checked(Path(path))[0]


def _checked(path: Path) -> tuple[list[Finding], Lesson | None]:
    document, findings, lines = read_toml(path)
    if findings:
        return list(findings), None
    check = QuestionCheck(path.stem, document)
    found, lesson = [*check.form(), *check.names()], None
    written = read_bytes(path).decode("utf-8", "replace").splitlines()
    # "12,5" is 12 and 5 for a reader of TOML, and 12.5 for who has written it on some keyboards.
    found += [(at[:-1], "must have a point for decimals, and a space behind each comma", line.strip())
              for at, _ in values(document) if at[-3:-2] == ("numbers",)
              for line in [written[line_of(lines, at) - 1].partition("#")[0]] if re.search(r"\d,\d", line)]
    if not found:
        whole, home = _four_cases(document)
        apart = _steps_apart(whole, home)
        check = QuestionCheck(path.stem, apart)
        for step in (check.names, check.texts, check.units):
            found = found or [*step()]
        if not found:
            found = [*check.draws(_lesson(path, apart))]
        # A step is asked of four cases: what is wrong in it is told once.
        found = [((*home.get(at[:2], at[:2]), *at[2:]), rule, str(got)) for at, rule, got in found]
        found = [*{each[0] if "step" in each[0] else each: each for each in reversed(found)}.values()][::-1]
        lesson = None if found else _lesson(path, whole)
    findings = [Finding(line_of(lines, at), in_words(document, at) or "file", rule, got)
                for at, rule, got in dict.fromkeys((*where, str(got)[:80]) for *where, got in found)]
    return sorted(findings, key=lambda each: each.line), None if findings else lesson


def _lesson(path: Path, document: dict) -> Lesson:
    items = [{key: each for key, each in item.items() if key != "worked" or item["type"] == "steps"}
             for item in document["item"]]
    return items_of(path, _in_floats(document) | {"item": items, "number": path.stem}, {})


def _four_cases(document: dict) -> tuple[dict, dict[tuple, tuple]]:
    """Return a document in which worked steps have four cases, as in the lessons, and where each is from.

    They are one case: each begins with the next of its numbers.
    """
    cases, items, home = list(document.get("case", ())), [], {}
    at_case = {case["id"]: place for place, case in enumerate(cases)}
    for item in document["item"]:
        if item["type"] == "steps":
            own = [f"{item['id']}-{turn}" for turn in range(4)]
            case = cases[at_case[item["case"]]]
            for turn, name in enumerate(own):
                home["case", len(cases)] = ("case", at_case[item["case"]])
                cases.append(case | {"id": name, "numbers": {
                    key: [drawn[(turn + at) % len(drawn)] for at in range(len(drawn))]
                    for key, drawn in case.get("numbers", {}).items()}})
            item = {key: each for key, each in item.items() if key not in ("id", "case")} | {"cases": own}
        items.append(item)
    return {**document, "case": cases, "item": items}, home


def _steps_apart(document: dict, home: dict[tuple, tuple]) -> dict:
    """Return a document in which each step is a question by itself, to be checked as one."""
    items = []
    for place, item in enumerate(document["item"]):
        apart = [(("item", place), item)] if item["type"] != "steps" else [
            (("item", place, "step", at),
             step | {"case": case, "id": f"{case}.{step['id']}", "worked": text})
            for case in item["cases"] for at, (step, text) in enumerate(zip(item["step"], item["worked"]))]
        for where, each in apart:
            home["item", len(items)] = where
            items.append(each)
    return {**document, "item": items}


def _in_floats(value: object, within_numbers: bool = False) -> object:
    """Return a document whose numbers to draw from are floats: no power of them takes hours."""
    if isinstance(value, dict):
        return {key: _in_floats(each, within_numbers or key == "numbers")
                for key, each in value.items()}
    if isinstance(value, list):
        return [_in_floats(each, within_numbers) for each in value]
    return float(value) if within_numbers and isinstance(value, int) else value
