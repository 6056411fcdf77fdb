"""The command line: `workbook`.

Each command is one entry of `COMMANDS`: its name, a line of help, a function that adds its
arguments to a parser, and a function that carries it out and returns the exit code.
"""

import argparse
import difflib
import errno
import os
import sys
import webbrowser
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

__all__ = ["COMMANDS", "Command", "main"]


@dataclass(frozen=True)
class Command:
    """One command of the command line.

    Attributes
    ----------
    name : str
        The word that stands for it.
    help : str
        What it does, in one line.
    arguments : callable
        Adds the command's arguments to the parser that it is given.
    run : callable
        Carries the command out with the parsed arguments and returns the exit code: 0 for success.
    """

    name: str
    help: str
    arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def _open_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("my-workbook"),
        help="your folder for the lessons and your work (default: %(default)s, here)",
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address and open no browser"
    )
    parser.add_argument("--port", type=_port, help="port to listen on (default: 8888 or the next)")
    parser.add_argument("--record", type=Path, metavar="FOLDER",
                        help="folder for your record: what you answered, and when (default: the "
                        "folder 'record' in yours)")
    parser.add_argument("--seed", type=int, default=0,
                        help="which numbers the exercises have: 0 (default) for those of the plant; "
                        "a class agrees on one, or everybody takes another")


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"port must be from 1 to 65535, got {text}")
    return int(text)


def _open(arguments: argparse.Namespace) -> int:
    from lessons.desk.lab import close_file_list, lab_arguments, lab_environment
    from lessons.desk.learner_folder import Laying, lay_lessons, trust
    from lessons.exercises.learner_record import FOLDER_VARIABLE
    from lessons.exercises.session import SEED_VARIABLE

    os.environ.update(lab_environment())
    from lessons.desk.only_here import OnlyHere, address_of_running

    if address := address_of_running(arguments.folder):
        print(f"The lab runs for this folder already: {address}")
        if not arguments.no_browser:
            webbrowser.open(address)
        return 0
    laid = lay_lessons(arguments.folder)
    try:
        trust(arguments.folder, laid)
    except OSError as problem:
        # JupyterLab's folder for signatures may not be there to write.
        from labkit.writing import problem_text

        print("Stored pictures show after a run only: they could not be signed "
              f"({problem_text(problem)}).")
    print(f"Your folder: {arguments.folder.resolve()}")
    counts = Counter(entry.outcome for entry in laid)
    for outcome in (Laying.NEW, Laying.UPDATED, Laying.SAME, Laying.KEPT):
        if counts[outcome]:
            print(f"  {counts[outcome]} {_files(counts[outcome])} {outcome.value}")
    for entry in laid:
        if entry.outcome is Laying.BESIDE:
            print(f"  {entry.name}: yours is kept; the new version is {entry.beside}")
    record = (arguments.record or arguments.folder / "record").expanduser().resolve()
    print(f"Your record: {record}")
    lessons = [entry.name for entry in laid if entry.name.endswith(".ipynb")]
    # Later on, the learner finds open what was open last.
    first = lessons[0] if lessons and counts[Laying.NEW] == len(laid) else None
    close_file_list(arguments.folder)
    words = lab_arguments(
        arguments.folder, browser=not arguments.no_browser, port=arguments.port, first=first
    )
    print("JupyterLab starts. Keep this window open; Ctrl-C in it stops JupyterLab.", flush=True)

    # The learner's record stays with the learner's work, wherever a notebook is opened from.
    os.environ[FOLDER_VARIABLE] = str(record)
    os.environ[SEED_VARIABLE] = str(arguments.seed)
    from jupyterlab.labapp import LabApp

    LabApp.serverapp_class = OnlyHere
    LabApp.launch_instance(words)
    return 0


def _lecture_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("lesson", help="its number, two digits")
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address and open no browser"
    )


def _lecture(arguments: argparse.Namespace) -> int:
    from lessons.desk.lecture import open_lecture

    open_lecture(arguments.lesson, browser=not arguments.no_browser, say=_say)
    return 0


@contextmanager
def _replaced_told(folder: Path) -> Iterator[None]:
    """Say which files of a folder are no longer those that were there."""
    before = _states(folder)
    try:
        yield
    finally:
        now = _states(folder)
        gone = sorted(name for name, state in before.items() if now.get(name) != state)
        if gone:
            print(f"Written over, for they were there already: {', '.join(gone)}")


def _states(folder: Path) -> dict[str, tuple]:
    if not folder.is_dir():
        return {}
    states = {file.name: file.stat() for file in folder.iterdir() if file.is_file()}
    return {name: (at.st_ino, at.st_mtime_ns, at.st_size) for name, at in states.items()}


def _files(count: int) -> str:
    return "file" if count == 1 else "files"


def _new_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, help="the new plant file, such as my_plant.toml")


def _new(arguments: argparse.Namespace) -> int:
    from labkit.plant.file import write_starter

    file = write_starter(arguments.file)
    print(f"{file}: a plant to start from. Its comments say how to change it; then check it:")
    print(f"  workbook check {file}")
    return 0


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", help="a plant file, or the name of one that comes with this")


def _check(arguments: argparse.Namespace) -> int:
    from labkit.plant.file_check import check_file

    findings = check_file(arguments.file)
    print(*findings, sep="\n", end="\n" if findings else "")
    errors = sum(finding.severity == "error" for finding in findings)
    print(f"{arguments.file}: errors {errors}, warnings {len(findings) - errors}")
    if errors:
        print("Put the errors right and check again: some doubts can be told only then.")
    return 1 if errors else 0


def _sheets_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", help="a plant file, or the name of one that comes with this")
    parser.add_argument("--only", metavar="NAME", action="append",
                        help="this paper only; may be repeated")
    parser.add_argument("--out", metavar="FOLDER", type=Path, default=Path("papers"),
                        help="folder for the papers (default: %(default)s, here)")
    parser.add_argument("--variant", metavar="NAME", help="for this variant of the plant")
    parser.add_argument("--short", action="store_true",
                        help="the short forms instead, each for one sheet of A4, both sides")
    parser.add_argument("--set", metavar="KEY=VALUE", action="append", default=[],
                        help="a setting of controllers and racks, such as hold_ms=800; may be "
                        "repeated")


def _sheets(arguments: argparse.Namespace) -> int:
    from labkit.plant.plant import load_plant
    from lessons.papers.papers import write_papers

    settings = _settings(arguments.set)
    plant = load_plant(arguments.plant, arguments.variant)
    with _replaced_told(arguments.out):
        for file in write_papers(plant, arguments.out, settings, only=arguments.only,
                                 short=arguments.short):
            if file.suffix == ".html":
                print(f"{file}, and beside it .md" + ("" if arguments.short else " and .csv"))
    print("Open the .html files in a browser; they print on A4.")
    return 0


def _settings(words: Sequence[str]):
    """Return the settings that words like ``hold_ms=800`` give; None without any."""
    import tomllib
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


def _results_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, help="a filled test sheet, CSV")
    parser.add_argument("--claim", type=float,
                        help="chance of success that is to be shown (default: what the plant file "
                        "of the sheet counts with)")
    parser.add_argument("--plant", metavar="FILE",
                        help="take that chance from a plant file, if it has changed since the sheet")


def _results(arguments: argparse.Namespace) -> int:
    from labkit.writing import safe_text
    from lessons.papers.results import read_results

    results, claim = read_results(arguments.file), arguments.claim
    if arguments.plant and claim is None:
        from labkit.plant.plant import load_plant

        pair = load_plant(arguments.plant).pair
        if pair is None:
            raise ValueError(f"--plant must have a pair, got {arguments.plant}, which has none")
        claim = pair.coverage
    print(safe_text(results.text(claim)))
    return 1 if any(each.verdict == "fail" for each in results.repeats) else 0


def _rig_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", nargs="?",
                        help="a plant file, or the name of one that comes with this (default: the "
                        "plant of the lessons)")
    parser.add_argument("--out", metavar="FILE", type=Path, default=Path("rig.html"),
                        help="the page (default: %(default)s, here)")
    parser.add_argument("--faults", type=int, choices=(0, 1, 2), default=2,
                        help="how many faults it holds at once: 1 is quick, 2 (default) takes "
                        "minutes")
    parser.add_argument("--only", metavar="FAULT", action="append", default=[],
                        help="this fault only, such as 'KF1: no power'; may be repeated")


def _rig(arguments: argparse.Namespace) -> int:
    from labkit.plant.plant import load_plant
    from labkit.writing import write_whole

    if arguments.out.exists():
        raise ValueError(f"{arguments.out} is there already: name a new file, or remove it")
    if not arguments.out.parent.is_dir():
        raise ValueError(f"{arguments.out.parent} is no folder: make it first")
    plant = load_plant(arguments.plant) if arguments.plant else load_plant()
    from lessons.panels.rig_file import rig_file_html
    from lessons.panels.rig_table import rig_table

    _say("The engine tries every fault" + (", and every two." if arguments.faults > 1 else "."))
    table = rig_table(plant, most_faults=arguments.faults, among=arguments.only, say=_say)
    written = write_whole(arguments.out, rig_file_html(plant, table))
    print(f"{written}: {written.stat().st_size / 1e6:.1f} MB, {len(table['states'])} states. "
          "Open it in a browser; it needs no network.")
    return 0


def _figures_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("figures"),
        help="where to write them (default: %(default)s, here)",
    )
    parser.add_argument(
        "--only", action="append", metavar="NAME", help="this picture only; may be repeated"
    )
    parser.add_argument("--plant", metavar="FILE",
                        help="a plant file, or the name of one that comes with this")
    parser.add_argument("--theme", choices=("light", "dark", "both"), default="both",
                        help="on white paper, on dark, or both (default)")


def _figures(arguments: argparse.Namespace) -> int:
    from labkit.plant.plant import load_plant
    from lessons.pictures.figure_writing import write_figures

    _say("Drawing, for about a minute.")
    plant = load_plant(arguments.plant) if arguments.plant else None
    themes = ("light", "dark") if arguments.theme == "both" else (arguments.theme,)
    with _replaced_told(arguments.folder):
        write_figures(arguments.folder, arguments.only, plant=plant, themes=themes, say=_say)
    return 0


def _kit_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="where to write; made if it is not there")
    parser.add_argument("--lesson", action="append", default=[], metavar="NN",
                        help="this lesson only; may be repeated")
    parser.add_argument("--seed", type=int, default=0,
                        help="which numbers: 0 (default) for those of the plant")


def _copies(arguments: argparse.Namespace) -> int:
    from lessons.teaching.kit import write_copies

    with _replaced_told(arguments.folder):
        write_copies(arguments.folder, only=arguments.lesson, seed=arguments.seed, progress=_say)
    return 0


def _worksheets_arguments(parser: argparse.ArgumentParser) -> None:
    _kit_arguments(parser)
    parser.add_argument("--plant", metavar="FILE",
                        help="the plant that is drawn and has the fault drills: a plant file, or the "
                        "name of one that comes with this; all other questions keep theirs")


def _plant_of(arguments: argparse.Namespace) -> object:
    """Return the plant that was named; None for that of the lessons."""
    from labkit.plant.plant import load_plant

    return load_plant(arguments.plant) if arguments.plant else None


def _worksheets(arguments: argparse.Namespace) -> int:
    from lessons.teaching.kit import write_worksheets

    plant = _plant_of(arguments)
    with _replaced_told(arguments.folder):
        write_worksheets(arguments.folder, only=arguments.lesson, seed=arguments.seed, plant=plant,
                         progress=_say)
    if plant:
        print(f"{plant.name} is drawn, and has the fault drills; all other questions keep theirs.")
    return 0


def _decks(arguments: argparse.Namespace) -> int:
    from lessons.teaching.kit import write_decks

    with _replaced_told(arguments.folder):
        write_decks(arguments.folder, only=arguments.lesson, seed=arguments.seed,
                    plant=_plant_of(arguments), progress=_say)
    return 0


def _course_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="where to write; made if it is not there")
    parser.add_argument("--plan", default="five-weeks",
                        help="evening (90 minutes), two-days or five-weeks (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=0,
                        help="which numbers the class has: 0 (default) for those of the plant")
    parser.add_argument("--plant", metavar="FILE", help="the plant that is drawn")


def _course(arguments: argparse.Namespace) -> int:
    from lessons.teaching.course import write_course

    print("For instructors: keys, run sheets and slides hold the answers.")
    with _replaced_told(arguments.folder):
        write_course(arguments.folder, arguments.plan, seed=arguments.seed,
                     plant=_plant_of(arguments), progress=_say)
    print(f"Begin with {arguments.folder / 'index.html'}.")
    return 0


def _key(arguments: argparse.Namespace) -> int:
    from lessons.teaching.kit import write_key

    print("For instructors only: these files hold the answers.")
    with _replaced_told(arguments.folder):
        write_key(arguments.folder, only=arguments.lesson, seed=arguments.seed,
                  plant=_plant_of(arguments), progress=_say)
    return 0


def _exam_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="where to write; made if it is not there")
    parser.add_argument("--lesson", action="append", default=[], metavar="NN",
                        help="questions of this lesson; may be repeated (default: of all)")
    parser.add_argument("--seed", type=int, default=1,
                        help="which questions and numbers (default: %(default)s)")
    parser.add_argument("--variants", type=int, default=2,
                        help="the same questions with other numbers, 1 to 26 (default: %(default)s)")
    parser.add_argument("--minutes", type=int, default=60,
                        help="how long it lasts, a minute for each point (default: %(default)s)")
    parser.add_argument("--pass", type=int, default=60, dest="pass_percent", metavar="PERCENT",
                        help="which share of the points is enough (default: %(default)s)")
    parser.add_argument("--export", action="store_true",
                        help="write the questions as CSV and as XML for the question bank of a "
                        "learning platform too (root: quiz)")


def _exam(arguments: argparse.Namespace) -> int:
    from lessons.teaching.kit import write_exam

    print("For instructors only: the key holds the answers.")
    with _replaced_told(arguments.folder):
        write_exam(arguments.folder, only=arguments.lesson, seed=arguments.seed,
                   variants=arguments.variants, minutes=arguments.minutes,
                   pass_percent=arguments.pass_percent, export=arguments.export, progress=_say)
    return 0


def _say(line: str) -> None:
    print(line, flush=True)


def _class_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="folder with the files that were handed in")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write the table to a file too")
    parser.add_argument("--picture", type=Path, metavar="FILE",
                        help="draw the count per misconception, for the wall: .png or .svg")
    parser.add_argument("--page", type=Path, metavar="FILE",
                        help="write one HTML page: safety first, who needs a talk, learner by item")
    parser.add_argument("--aloud", type=Path, metavar="FILE",
                        help="write an HTML page of what was written in own words, to read aloud")
    parser.add_argument("--names", action="store_true", help="with the names, on that page")
    parser.add_argument("--marks", type=Path, metavar="FILE",
                        help="write the points of the printed key at the last try to a CSV file")
    parser.add_argument("--pass", type=float, metavar="PERCENT", dest="pass_percent",
                        help="say in the marks who has so many per cent of the points")
    parser.add_argument("--lesson", action="append", default=[], metavar="NN",
                        help="marks of this lesson only; may be repeated (default: those that at "
                        "least half the class has begun)")
    parser.add_argument("--feedback", type=Path, metavar="FOLDER",
                        help="write a page of feedback for each learner into a new folder")


def _class(arguments: argparse.Namespace) -> int:
    from labkit.writing import write_whole
    from lessons.teaching.class_table import collect

    files = [*filter(None, (arguments.csv, arguments.picture, arguments.page, arguments.aloud,
                            arguments.marks))]
    for place, file in enumerate(files):
        if file.exists() or file in files[:place]:
            raise ValueError(f"{file} is there already: name a new file, or remove it")
    if arguments.names and not arguments.aloud:
        raise ValueError("--names must come with --aloud FILE")
    if (arguments.lesson or arguments.pass_percent is not None) and not arguments.marks:
        raise ValueError("--lesson and --pass must come with --marks FILE")
    if arguments.feedback:
        from lessons.teaching.class_pages import new_folder

        new_folder(arguments.feedback)
    table = collect(arguments.folder)
    if arguments.marks:
        from lessons.teaching.class_marks import marks_of

        marks = marks_of(table, arguments.lesson, arguments.pass_percent)
    print(table.to_text())
    if arguments.csv:
        write_whole(arguments.csv, table.to_csv(), "utf-8-sig")
        print(f"Table written to {arguments.csv}")
    if arguments.picture:
        from lessons.pictures.figure_writing import write_picture
        from lessons.teaching.class_picture import plot_class

        write_picture(lambda ax: plot_class(table, ax), arguments.picture)
        print(f"Picture written to {arguments.picture}")
    if arguments.marks:
        write_whole(arguments.marks, marks.to_csv(), "utf-8-sig")
        print(f"Marks written to {arguments.marks}: lessons {', '.join(marks.lessons) or 'none'}, "
              f"{marks.most} points")
    if arguments.page:
        from lessons.teaching.class_pages import class_page

        write_whole(arguments.page, class_page(table))
        print(f"Page written to {arguments.page}")
    if arguments.aloud:
        from lessons.teaching.class_pages import aloud_page

        write_whole(arguments.aloud, aloud_page(table, names=arguments.names))
        print(f"Own words written to {arguments.aloud}")
    if arguments.feedback:
        from lessons.teaching.class_pages import write_feedback

        print(f"Pages of feedback in {arguments.feedback}: "
              f"{len(write_feedback(table, arguments.feedback))}")
    return 0


def _items_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("lesson", help="its number, two digits")
    parser.add_argument("--only", default="", metavar="ID",
                        help="first letters of the questions that are wanted")
    parser.add_argument("--draws", type=int, default=2, help="sets of numbers (default: %(default)s)")


def _items(arguments: argparse.Namespace) -> int:
    from lessons.teaching.item_page import item_page

    print(item_page(arguments.lesson, draws=arguments.draws, only=arguments.only))
    return 0


COMMANDS: tuple[Command, ...] = (
    Command("open", "open JupyterLab on your copy of the lessons", _open_arguments, _open),
    Command("lecture", "show the story of a lesson on a wall", _lecture_arguments, _lecture),
    Command("new", "write a plant file to start from", _new_arguments, _new),
    Command("check", "list all that is wrong in a plant file", _check_arguments, _check),
    Command("sheets", "make the papers of a plant", _sheets_arguments, _sheets),
    Command("results", "read a filled test sheet back", _results_arguments, _results),
    Command("rig", "write the rig as one HTML file", _rig_arguments, _rig),
    Command("figures", "make the pictures for lectures", _figures_arguments, _figures),
    Command("copies", "write reading copies of the lessons", _kit_arguments, _copies),
    Command("worksheets", "write what a class writes on", _worksheets_arguments, _worksheets),
    Command("decks", "write slides for each lesson", _worksheets_arguments, _decks),
    Command("key", "write keys and run sheets", _worksheets_arguments, _key),
    Command("course", "write a whole course with its plan", _course_arguments, _course),
    Command("exam", "draw an exam: papers and key", _exam_arguments, _exam),
    Command("items", "list the replies to typical slips",
            _items_arguments, _items),
    Command("class", "count what a class has handed in", _class_arguments, _class),
)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="workbook",
        description="A workbook of redundant control.",
        epilog="Without a command it opens the lessons: `workbook my-folder --port 8890` "
        "is short for `workbook open my-folder --port 8890`.",
    )
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in COMMANDS:
        one = subparsers.add_parser(command.name, help=command.help, description=command.help)
        command.arguments(one)
        one.set_defaults(run=command.run)
    return parser


def _with_command(words: Sequence[str]) -> list[str]:
    """Put `open` first where the words name no command, as in `workbook my-folder`.

    Raises
    ------
    ValueError
        The first word is no folder and looks like a command that was mistyped.
    """
    names = [command.name for command in COMMANDS]
    first = words[0] if words else ""
    if first in (*names, "-h", "--help"):
        return list(words)
    if first and not first.startswith("-") and not Path(first).exists():
        near = difflib.get_close_matches(first, names, n=1)
        if near:
            raise ValueError(
                f"there is no command {first!r}: the nearest is {near[0]!r}; "
                f"for a folder of that name write: open {first}"
            )
    return ["open", *words]


def main(argv: Sequence[str] | None = None) -> int:
    """Carry out the command that the words name.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after `workbook`; those of this process where they are left out.

    Returns
    -------
    int
        The exit code: 0 for success, 2 where the words or the folder cannot be used.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal of few letters, or half a letter in a name, stops nothing.
            stream.reconfigure(errors="backslashreplace")
    try:
        arguments = _parser().parse_args(_with_command(sys.argv[1:] if argv is None else argv))
        code = arguments.run(arguments)
        sys.stdout.flush()
        return code
    except (ValueError, OSError) as problem:
        if _reader_went(problem):
            # Who read the output has seen enough; what is still held back goes nowhere.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 1
        from labkit.writing import problem_text

        print(f"workbook: {problem_text(problem)}", file=sys.stderr)
        return 2


def _reader_went(problem: Exception) -> bool:
    """Say whether the output has no reader; Windows calls that an argument that is not valid."""
    return isinstance(problem, BrokenPipeError) or (
        isinstance(problem, OSError) and problem.errno == errno.EINVAL and problem.filename is None)


if __name__ == "__main__":
    raise SystemExit(main())
