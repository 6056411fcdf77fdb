"""The command line: `workbook`.

What the commands are, and which words may follow each, stands in commands.toml. What a command does
is the function of its name here; it returns the exit code where that is not 0.
"""

import argparse
import difflib
import errno
import os
import sys
import tomllib
import webbrowser
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import NoReturn

MOST_NAMES = 99
OWN_FOLDERS = [Path(__file__).resolve().parent.with_name(name) for name in ("labkit", "lessons")]
COMMANDS = tomllib.loads(Path(__file__).with_name("commands.toml").read_text("utf-8"))
SHARED = COMMANDS.pop("shared")


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"port must be from 1 to 65535, got {text}")
    return int(text)


def _number(kind: Callable, words: str, text: str) -> float:
    try:
        return kind(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be {words}, got {text!r}") from None


def _path(text: str) -> Path:
    try:
        usable = (text and "\0" not in text and len(Path(text).parts) <= MOST_NAMES
                  and os.fsencode(text))
    except UnicodeEncodeError:
        usable = False
    if not usable:
        raise argparse.ArgumentTypeError(f"a path must be 1 to {MOST_NAMES} names of letters that a "
                                         f"name can have, got {text[:40]!r}")
    return Path(text)


def _speak(language: Path | None) -> None:
    """Let what is shown from here on, and by kernels that are started, be in a language."""
    from lessons.language import VARIABLE
    from lessons.language.edges import install

    if language:
        os.environ[VARIABLE] = str(language)
    install()


def _open(arguments: argparse.Namespace) -> None:
    from lessons.desk.lab import close_file_list, lab_arguments, lab_environment
    from lessons.desk.learner_folder import Laying, lay_lessons, trust
    from lessons.exercises.learner_record import FOLDER_VARIABLE
    from lessons.exercises.lookup import PLANT_VARIABLE
    from lessons.exercises.session import SEED_VARIABLE
    from lessons.items.own_questions import FOLDER_VARIABLE as QUESTIONS_VARIABLE

    plant = _plant_of(arguments)
    record = Path(os.path.expanduser(arguments.record or arguments.folder / "record"))
    for folder in (arguments.folder, record):
        _refuse_file(folder)
    record = record.resolve()
    os.environ.update(lab_environment())
    from lessons.desk.only_here import OnlyHere, address_of_running

    if address := address_of_running(arguments.folder):
        _say(f"The lab runs for this folder already: {address}")
        if not arguments.no_browser:
            webbrowser.open(address)
        return
    from lessons.language.notebooks import left_english, turned_lesson

    laid = lay_lessons(arguments.folder, turn=turned_lesson)
    if left := left_english():
        _say(f"Not translated, and left in English: {left} sentences of the lessons.")
    try:
        trust(arguments.folder, laid)
    except OSError as problem:
        # JupyterLab's folder for signatures may not be there to write.
        from labkit.writing import problem_text

        _say("Stored pictures show after a run only: they could not be signed "
             f"({problem_text(problem)}).")
    _say(f"Your folder: {arguments.folder.resolve()}")
    counts = Counter(entry.outcome for entry in laid)
    for outcome in (Laying.NEW, Laying.UPDATED, Laying.SAME, Laying.KEPT):
        if counts[outcome]:
            files = "file" if counts[outcome] == 1 else "files"
            _say(f"  {counts[outcome]} {files} {outcome.value}")
    for entry in laid:
        if entry.outcome is Laying.BESIDE:
            _say(f"  {entry.name}: yours is kept; the new version is {entry.beside}")
    _say(f"Your record: {record}")
    lessons = [entry.name for entry in laid if entry.name.endswith(".ipynb")]
    # Later on, the learner finds open what was open last.
    first = lessons[0] if lessons and counts[Laying.NEW] == len(laid) else None
    close_file_list(arguments.folder)
    words = lab_arguments(
        arguments.folder, browser=not arguments.no_browser, port=arguments.port, first=first
    )
    _say("JupyterLab starts. Keep this window open; Ctrl-C in it stops JupyterLab.")

    # The learner's record stays with the learner's work, wherever a notebook is opened from.
    os.environ[FOLDER_VARIABLE] = str(record)
    os.environ[SEED_VARIABLE] = str(arguments.seed)
    if plant:
        named = Path(arguments.plant)
        os.environ[PLANT_VARIABLE] = str(named.resolve() if named.is_file() else named)
    os.environ.setdefault(QUESTIONS_VARIABLE, str(arguments.folder.resolve() / "questions"))
    from jupyterlab.labapp import LabApp

    LabApp.serverapp_class = OnlyHere
    LabApp.launch_instance(words)


def _lecture(arguments: argparse.Namespace) -> None:
    from lessons.desk.lecture import open_lecture

    open_lecture(arguments.lesson, browser=not arguments.no_browser, say=_say)


@contextmanager
def _replaced_told(folder: Path) -> Iterator[None]:
    """Say which files of a folder are no longer those that were there."""
    _refuse_file(folder)
    before = _states(folder)
    try:
        yield
    finally:
        now = _states(folder)
        gone = sorted(name for name, state in before.items() if now.get(name) != state)
        if gone:
            _say(f"Written over, for they were there already: {', '.join(gone)}")


def _refuse_file(folder: Path) -> None:
    _refuse_own(folder)
    for each in (folder, *folder.parents):
        if os.path.lexists(each) and not each.is_dir():
            raise ValueError(f"{each} must be a folder, or nothing so far, got a file or a link to "
                             "none")


def _refuse_own(path: Path) -> None:
    """Refuse to write among the files of this program; each start of it reads them."""
    for own in OWN_FOLDERS:
        if Path(os.path.realpath(path)).is_relative_to(own):
            raise ValueError(f"what is written must lie outside {own}, where this program lies, "
                             f"got {path}")


def _states(folder: Path) -> dict[str, tuple]:
    if not folder.is_dir():
        return {}
    states = {file.name: file.stat() for file in folder.iterdir() if file.is_file()}
    return {name: (at.st_ino, at.st_mtime_ns, at.st_size) for name, at in states.items()}


def _new(arguments: argparse.Namespace) -> None:
    from labkit.plant.file import write_starter

    _refuse_taken(arguments.file)
    file = write_starter(arguments.file)
    _say(f"{file}: a plant to start from, and beside it a schema for editors. Its comments say how "
         "to change it; then check it:")
    _say(f'  workbook check "{file}"' if " " in str(file) else f"  workbook check {file}")


def _check(arguments: argparse.Namespace) -> int:
    from labkit.plant.file_check import check_file
    from labkit.plant.plant import load_plant
    from lessons.items.own_questions import check_questions, holds_questions

    asked = holds_questions(arguments.file)
    findings = check_questions(arguments.file) if asked else check_file(arguments.file)
    for finding in findings:
        _say(finding)
    errors = sum(finding.severity == "error" for finding in findings)
    _say(f"{arguments.file}: errors {errors}, warnings {len(findings) - errors}")
    if errors:
        _say("Put the errors right and check again: some doubts can be told only then.")
    elif not asked:
        for pair, said in load_plant(arguments.file).second_pairs.items():
            _say(f"{pair}: {said}")
    return 1 if errors else 0


def _sheets(arguments: argparse.Namespace) -> None:
    from labkit.plant.plant import load_plant
    from lessons.papers.papers import write_papers

    _refuse_file(arguments.out)
    settings = _settings(arguments.set)
    plant = load_plant(arguments.plant, arguments.variant)
    _say(f"The papers of {plant.name}:")
    with _replaced_told(arguments.out):
        for file in write_papers(plant, arguments.out, settings, only=arguments.only,
                                 short=arguments.short):
            if file.suffix == ".html":
                _say(f"{file}, and beside it .md" + ("" if arguments.short else " and .csv"))
    _say("Open the .html files in a browser; they print on A4.")


def _settings(words: Sequence[str]):
    """Return the settings that words like ``hold_ms=800`` give; None without any."""
    from dataclasses import fields

    from labkit.switchover.settings import PairSettings
    from labkit.wording import did_you_mean

    known = [each.name for each in fields(PairSettings)]
    given = {}
    for word in words:
        key, equals, value = word.partition("=")
        if key not in known or not equals:
            raise ValueError(f"--set must be KEY=VALUE with KEY one of {', '.join(known)}, "
                             f"got {word!r}{did_you_mean(key, known)}")
        try:
            given[key] = tomllib.loads(f"value = {value}")["value"]
        except tomllib.TOMLDecodeError:
            given[key] = value
    try:
        return PairSettings(**given) if given else None
    except TypeError as error:
        raise ValueError(f"--set: {error}") from None


def _results(arguments: argparse.Namespace) -> int:
    from lessons.papers.results import read_results

    results, claim = read_results(arguments.file), arguments.claim
    plant = _plant_of(arguments)
    if plant and claim is None:
        pair = plant.pair
        if pair is None:
            raise ValueError(f"--plant must have a pair, got {arguments.plant}, which has none: "
                             "leave --plant out, nothing switches over there")
        claim = pair.coverage
    _say(results.text(claim))
    return 1 if any(each.verdict == "fail" for each in results.repeats) else 0


def _beside(arguments: argparse.Namespace) -> None:
    from labkit.rig.rig import Rig
    from labkit.rig.side_by_side import read_rig_log, side_by_side

    for word in arguments.word:
        if not all(word.partition("=")):
            raise ValueError(f"--word must be YOURS=OURS, got {word!r}")
    rows, problems = read_rig_log(arguments.log)
    rig = Rig(_plant_of(arguments), _settings(arguments.set))
    rig.switch_on(arguments.fault)
    times = [row.time_ms for row in rows] or [0.0]
    rig.wait(min(3600.0, 3 + (max(times) - min(times)) / 1000))
    words = dict(word.lower().split("=", 1) for word in arguments.word)
    alone = side_by_side(rig.record, (), {}).to_text().lower()
    if unknown := [ours for ours in words.values() if ours not in alone]:
        raise ValueError(f"--word must end in a word of the record of this fault, got {unknown[0]!r}")
    _say(side_by_side(rig.record, rows, words).to_text())
    for problem in problems:
        _say(f"Not read: {problem}")
    _say("The simulation is one run; another draw of the clocks moves a takeover within its budget.")


def _rig(arguments: argparse.Namespace) -> None:
    from labkit.plant.plant import load_plant
    from labkit.writing import write_whole

    _refuse_taken(arguments.out)
    plant = _plant_of(arguments) or load_plant()
    from lessons.panels.rig_file import rig_file_html
    from lessons.panels.rig_table import rig_table

    _say("The engine tries every fault" + (", and every two." if arguments.faults > 1 else "."))
    table = rig_table(plant, most_faults=arguments.faults, among=arguments.only, say=_say)
    written = write_whole(arguments.out, rig_file_html(plant, table))
    _say(f"{written}: {written.stat().st_size / 1e6:.1f} MB, {len(table['states'])} states. "
         "Open it in a browser; it needs no network.")


def _refuse_taken(file: Path) -> None:
    _refuse_own(file)
    if os.path.lexists(file):
        raise ValueError(f"{file} is there already: name a new file, or remove it")
    if not file.parent.is_dir():
        raise ValueError(f"{file.parent} is no folder: make it first")


def _figures(arguments: argparse.Namespace) -> None:
    from lessons.pictures.figure_writing import write_figures

    _say("Drawing, for about a minute.")
    themes = ("light", "dark") if arguments.theme == "both" else (arguments.theme,)
    with _replaced_told(arguments.folder):
        write_figures(arguments.folder, arguments.only, plant=_plant_of(arguments), themes=themes,
                      say=_say)


def _plant_of(arguments: argparse.Namespace) -> object:
    """Return the plant that was named; None for that of the lessons."""
    from labkit.plant.plant import load_plant

    named = getattr(arguments, "plant", None)
    return None if named is None else load_plant(named)


def _kit(arguments: argparse.Namespace) -> None:
    """Write what an instructor hands out, from the lessons that were named or from all."""
    from lessons.exercises.lookup import at_plant
    from lessons.teaching.course import lessons_of
    from lessons.teaching.kit import numbers_of, written

    _refuse_file(arguments.folder)
    told = COMMANDS[arguments.command]
    if "warning" in told:
        _say(told["warning"])
    plant = _plant_of(arguments)
    given = {word: value for word, value in vars(arguments).items()
             if word not in ("command", "run", "folder", "language", "plant")}
    module, name = told["writes"].split(".")
    with _replaced_told(arguments.folder), at_plant(plant):
        written(arguments.folder, getattr(import_module(f"lessons.teaching.{module}"), name)(**given), _say)
    if plant:
        # Which questions have the numbers of the plant that was named.
        _say(numbers_of(plant, lessons_of(given["plan"]) if "plan" in given else given.get("only", ())))


def _say(line: object) -> None:
    """Print a line; who has seen enough of them stops no work on files."""
    from labkit.writing import safe_text

    try:
        print(safe_text(line), flush=True)
    except OSError as problem:
        if not _reader_went(problem):
            raise


def _class(arguments: argparse.Namespace) -> None:
    from lessons.exercises.lookup import at_plant

    with at_plant(_plant_of(arguments)):
        _class_counted(arguments)


def _class_counted(arguments: argparse.Namespace) -> None:
    from labkit.wording import listed
    from labkit.writing import write_whole
    from lessons.pictures.figure_writing import write_picture
    from lessons.teaching.class_marks import marks_of
    from lessons.teaching.class_pages import aloud_page, class_page, new_folder, write_feedback
    from lessons.teaching.class_picture import plot_class
    from lessons.teaching.class_table import collect

    outputs = [each for each in (
        (arguments.csv, "Table", lambda file: write_whole(file, table.to_csv(), "utf-8-sig")),
        (arguments.picture, "Picture", lambda file: write_picture(partial(plot_class, table), file)),
        (arguments.marks, "Marks", lambda file: write_whole(file, marks.to_csv(), "utf-8-sig")),
        (arguments.page, "Page", lambda file: write_whole(file, class_page(table))),
        (arguments.aloud, "Own words",
         lambda file: write_whole(file, aloud_page(table, names=arguments.names)))) if each[0]]
    files = [file for file, *_ in outputs]
    for file in files:
        _refuse_taken(file)
    # Some systems do not tell capitals from small letters.
    if len({os.path.abspath(file).casefold() for file in files}) < len(files):
        raise ValueError(f"each file to write must have a name of its own, got {listed(map(str, files))}")
    if arguments.names and not arguments.aloud:
        raise ValueError("--names must come with --aloud FILE")
    if (arguments.only or arguments.pass_percent is not None) and not arguments.marks:
        raise ValueError("--lesson and --pass must come with --marks FILE")
    if arguments.feedback:
        _refuse_file(arguments.feedback)
        new_folder(arguments.feedback)
    table = collect(arguments.folder)
    if arguments.marks:
        marks = marks_of(table, arguments.only, arguments.pass_percent)
    _say(table.to_text())
    for file, said, write in outputs:
        write(file)
        _say(f"{said} written to {file}")
    if arguments.marks:
        _say(f"Marked: lessons {', '.join(marks.lessons) or 'none'}, {marks.most} points")
    if arguments.feedback:
        _say(f"Pages of feedback in {arguments.feedback}: "
             f"{len(write_feedback(table, arguments.feedback))}")


def _items(arguments: argparse.Namespace) -> None:
    from lessons.exercises.lookup import at_plant
    from lessons.teaching.item_page import item_page

    with at_plant(_plant_of(arguments)):
        _say(item_page(arguments.lesson, draws=arguments.draws, only=arguments.only))


_TYPES: dict[str, Callable] = {"path": _path, "port": _port, "int": partial(_number, int, "a whole number"),
                               "float": partial(_number, float, "a number")}


def _words_of(name: str) -> dict[str, dict]:
    told = COMMANDS[name]
    return {word: SHARED[word] for word in told.get("shares", ())} | told.get("words", {})


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        from labkit.writing import safe_text

        super().error(safe_text(message))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="workbook",
        description="A workbook of redundant control.",
        epilog="Without a command it opens the lessons: `workbook my-folder --port 8890` "
        "is short for `workbook open my-folder --port 8890`.",
    )
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, told in COMMANDS.items():
        one = subparsers.add_parser(name, help=told["help"], description=told["help"])
        for word, how in _words_of(name).items():
            kind = {"type": _TYPES[how["type"]]} if "type" in how else {}
            one.add_argument(word, **how | kind)
        one.set_defaults(run=_kit if "writes" in told else globals()[f"_{name}"])
    return parser


def _with_command(words: Sequence[str]) -> list[str]:
    """Put `open` first where the words name no command, as in `workbook my-folder`."""
    first = words[0] if words else ""
    for word in words:
        # argparse takes this for an option with an empty list.
        if word.startswith("--") and word.endswith("=--"):
            raise ValueError(f"{word[:-3]} must have a value other than '--', got {word!r}")
    if first in (*COMMANDS, "-h", "--help"):
        return list(words)
    if first and not first.startswith("-") and not Path(first).exists():
        near = difflib.get_close_matches(first, COMMANDS, n=1)
        if near:
            raise ValueError(
                f"there is no command {first!r}: the nearest is {near[0]!r}; "
                f"for a folder of that name write: open {first}"
            )
    return ["open", *words]


def main(argv: Sequence[str] | None = None) -> int:
    """Carry out the command that the words after `workbook` name.

    The exit code is 0 for success, 1 where what was read is not as it must be, 2 where words, files
    or folders cannot be used, and 130 after Ctrl-C.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            # Closed by whoever started this: what is said goes nowhere.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))
        if hasattr(getattr(sys, name), "reconfigure"):
            # A terminal of few letters, or half a letter in a name, stops nothing.
            getattr(sys, name).reconfigure(errors="backslashreplace")
    try:
        arguments = _parser().parse_args(_with_command(sys.argv[1:] if argv is None else argv))
        _speak(getattr(arguments, "language", None))
        code = arguments.run(arguments) or 0
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        print("workbook: stopped", file=sys.stderr)
        return 130
    except (ValueError, OSError) as problem:
        if _reader_went(problem):
            return 1
        from labkit.writing import problem_text

        if getattr(problem, "filename", "") is None:  # the system names none of these
            problem.filename = "this folder" if isinstance(problem, FileNotFoundError) else "the output"
        print(f"workbook: {problem_text(problem)}", file=sys.stderr)
        return 2


def _reader_went(problem: Exception) -> bool:
    """Say whether the output has no reader any more; what is still to be printed goes nowhere then."""
    # Windows calls that an argument that is not valid.
    went = isinstance(problem, BrokenPipeError) or (
        isinstance(problem, OSError) and problem.errno == errno.EINVAL and problem.filename is None)
    if went:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return went


if __name__ == "__main__":
    raise SystemExit(main())
