"""Reading a plant file, and finding everything that is wrong in it.

How a plant file is written
---------------------------
A plant file is a text file in TOML: ``key = value``, one to a line; ``[name]`` starts a table,
``[[name]]`` starts one more table of a list; ``#`` starts a remark. Texts stand in double quotes,
numbers have a decimal point and no separators (``60000`` or ``60_000``, never ``60,000``).

Begin with a copy of the starter (`write_starter`, or ``workbook new my_plant.toml``): each
key stands there with its unit, range, default and an example. In short:

``format = 1``
    The first line.
``[plant]``
    ``name``, ``version``, ``about``, and ``data``: where numbers come from unless a part says
    otherwise (``invented``, ``practice`` or ``found``).
``[title_block]``
    ``number``, ``revision``, ``author`` and ``checker`` of the papers.
``[[part]]``
    One for each thing that can fail. ``designation`` as on the drawing, ``what`` in words,
    ``kind``, ``place``, ``mtbf_h`` and ``mttr_h`` in hours, ``source`` and ``source_note`` of these
    two. ``fed_by``: what feeds it, any one is enough. ``joins``: what it is wired to, written on
    one side only. ``noticed``: which share of its failures shows by itself, where that is known
    better than from the rig, with a ``noticed_note``; ``test_interval_h``: when a test finds the
    others, but for the share ``missed`` that waits for ``overhaul_interval_h``; ``alarm``: its text
    in the alarm list. ``battery_h``: for how long it works on without its feeds; ``short_cuts`` of
    the mains. ``ageing_shape`` and ``replaced_after_h``: how it wears
    out, and when it is replaced. ``range`` and ``sources``: limits and origin of one number, as at
    pair, twins, changeovers and cost steps. ``fitted = false``: described, but only there in variants
    that fit it.
``[[mode]]``
    One way in which ``parts`` fail, in words of one's own: ``how``, its ``share`` of all failures,
    how much is ``noticed``, ``mttr_h``, what is ``seen``, its ``cause``, what has ``put_right``.
``[pair]``
    The two controllers of which one leads, if there are two. Without it there is one controller.
``[[twins]]``
    Like parts that have some failures in common: ``parts`` and the share ``common_cause``.
``[[shared_event]]``
    Something from outside that breaks several parts at once. With ``mtbf_h`` and ``mttr_h`` it
    counts; without them it can only be switched on.
``[[maintenance]]``
    Planned work: which ``parts`` are out, ``every_h``, and for how long (``takes_h``).
``[[changeover]]``
    Parts of which some are ``running`` and the others have to start: the share that ``starts`` by
    itself, ``by_hand_h`` and the share ``by_hand`` of the rest, duty change ``every_h``.
``[[spare]]``
    ``stock``, ``delivery_days`` and ``price`` of what fits ``parts``; stock 0 is no spare.
``[how_often.controller]`` and others
    How often each kind of fault comes: shares of the failures of a part, and what comes beside
    them a year. What the file does not say has an invented default. ``restored_h``: how long some
    of them last that pass by themselves, or are put right sooner or later than their part.
``[people]``
    Chances for each repair or test that somebody goes wrong at the pair; ``crews`` that repair.
``[[function]]``
    What is to be kept. ``needs``: designations; ``{at_least = 2, of = ["GP1", "GP2", "GP3"]}``;
    ``{reached = ["KF10"]}``. ``reached``: racks that one controller must reach, all, and panels
    that either of a pair must reach.
    ``by``: controllers beside the pair that lead for it, as a third one or a second pair. A rack
    takes writes from one of them: it is that of its functions, whoever else has a way to it.
    ``hours_per_year`` if it is not asked for all year, ``idle_h`` if faults can sleep before;
    ``shown = false`` if it is only counted.
``[process]``
    Constants of a header tank, if the plant has one.
``[costs]`` and ``[[costs.step]]``
    What an outage costs once it lasts longer than ``longer_than_min``: ``cost`` for each, and
    ``cost_per_h`` beyond; steps add up.
``[[variant]]``
    Another way to build or keep the same plant: ``fit`` and ``remove`` parts, change keys of
    ``pair``, ``part``, ``twins``, ``function``, ``step`` and others, start from another variant
    with ``like``; ``price_per_year`` is what it costs.

The JSON Schema ``plant.schema.json`` beside the plant files says the same in a form that editors
understand. `read_file` checks a file against it, then looks at what a schema cannot see: names
that nobody has, loops, doubles, numbers outside what is usual.
"""

import json
import os
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from labkit.arguments import path_of
from labkit.plant.file_rules import complaints
from labkit.plant.schema_words import SAID_BETTER, in_words, values
from labkit.plant.toml_lines import line_numbers, line_of
from labkit.reading import read_bytes
from labkit.writing import safe_line, write_new, write_whole

# Lists and tables inside one another; needs within needs take two for each step.
MOST_NESTED = 40
# Lines that are no TOML, told in one go.
MOST_SYNTAX = 20
# TOML 1.0.0, "Integer": 64 bits, and an error for what they do not hold.
WHOLE = "must have whole numbers of at most 64 bits"


@dataclass(frozen=True)
class Finding:
    """Hold one thing that is wrong, or doubtful, in a plant file.

    Parameters
    ----------
    line : int
        Line of the file, from 1; 0 if the finding belongs to no line.
    key : str
        Where it is, e.g. ``part KF1: mtbf_h``.
    rule : str
        What is allowed.
    found : str
        What stands there instead.
    severity : str
        ``error`` or ``warning``.

    >>> print(Finding(12, "part KF1: mttr_h", "must be > 0", "-2", "error"))
    line 12: error: part KF1: mttr_h must be > 0, got -2
    """

    line: int
    key: str
    rule: str
    found: str
    severity: str = "error"

    def __str__(self) -> str:
        """Write the finding as one line of text."""
        where = f"line {self.line}: " if self.line else ""
        return safe_line(f"{where}{self.severity}: {self.key} {self.rule}, got {self.found}")


class PlantFileError(ValueError):
    """Say everything that is wrong in a plant file.

    Parameters
    ----------
    path : str or Path
        The file.
    findings : iterable of Finding
        All errors in it.

    >>> error = PlantFileError("my.toml", [Finding(3, "plant: name", "must be text", "7")])
    >>> print(error)
    my.toml: 1 error
      line 3: error: plant: name must be text, got 7
    """

    def __init__(self, path: str | Path, findings: Iterable[Finding]) -> None:
        self.path = str(path)
        self.findings = tuple(findings)
        count = f"{len(self.findings)} error" + "s" * (len(self.findings) != 1)
        super().__init__("\n  ".join([f"{self.path}: {count}", *map(str, self.findings)]))


# ---------------------------------------------------------------- files that come along


def find_file(path: str | Path) -> Path:
    """Return the path of a plant file, given as a path or as the name of one that comes along.

    Parameters
    ----------
    path : str or Path
        ``my_plant.toml``, or a name such as ``brackenquay``.

    Raises
    ------
    ValueError
        If there is no such file.

    >>> find_file("brackenquay").name
    'brackenquay.toml'
    """
    folder, path = _folder(), path_of("path", path)
    names = sorted(each.stem for each in folder.glob("*.toml") if each.stem != "starter")
    if str(path) in names:
        return folder / f"{path}.toml"
    if path.is_file():
        return path
    raise ValueError(f"path must be a file or one of {', '.join(names)}, got {path}")


def is_shipped(path: Path) -> bool:
    """Say whether a plant file is one of those that come along.

    >>> is_shipped(find_file("brackenquay")), is_shipped(Path("my_plant.toml"))
    (True, False)
    """
    return path.resolve().parent == _folder().resolve()


def _folder() -> Path:
    return Path(__file__).parent / "files"


def schema() -> dict:
    """Return the JSON Schema of plant files.

    >>> schema()["properties"]["format"]["const"]
    1
    """
    return json.loads((_folder() / "plant.schema.json").read_text("utf-8"))


def starter_text() -> str:
    """Return a plant file to start from, with a remark on every key.

    >>> "mtbf_h" in starter_text()
    True
    """
    return (_folder() / "starter.toml").read_text("utf-8")


def write_starter(path: str | Path) -> Path:
    """Write the starter to a new file and the JSON Schema beside it, for editors.

    Where another file has the name of the schema, the schema gets a number.

    Parameters
    ----------
    path : str or Path
        The new file, ending in ``.toml``. An existing file is never written over.

    Returns
    -------
    Path
        The new file.

    Raises
    ------
    ValueError
        If the name does not end in ``.toml``.
    FileExistsError
        If the file is there already.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_starter(Path(folder) / "my_plant.toml").name
    'my_plant.toml'
    """
    path = path_of("path", path)
    if path.suffix != ".toml":
        raise ValueError(f"path must end in .toml, got {path}")
    if os.path.lexists(path):
        raise FileExistsError(f"path must be a new file, got {path}, which is there already")
    text, name = (_folder() / "plant.schema.json").read_text("utf-8"), "plant.schema.json"
    beside = path.parent / name
    if not beside.is_file() or beside.read_bytes() != text.encode():
        name = write_new(path.parent, name, text).name
    return write_whole(path, f"#:schema ./{name}\n{starter_text()}")


# ---------------------------------------------------------------- reading


def read_file(path: str | Path) -> tuple[dict, tuple[Finding, ...], dict[tuple, int]]:
    """Read a plant file and list everything that is wrong in it.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    document : dict
        The file as tables; empty if it is no TOML.
    findings : tuple of Finding
        Errors and warnings, in the order of the lines.
    lines : dict of tuple to int
        On which line each key stands.

    Raises
    ------
    OSError
        If the file cannot be read.

    >>> document, findings, lines = read_file(find_file("brackenquay"))
    >>> document["plant"]["version"], findings
    ('V1', ())
    """
    document, findings, lines = read_toml(path)
    if findings:
        return document, findings, lines
    findings = [Finding(line_of(lines, path), in_words(document, path), rule, found, severity)
                for path, rule, found, severity in complaints(document, schema())]
    return document, tuple(sorted(findings, key=lambda each: each.line)), lines


def read_toml(path: str | Path) -> tuple[dict, tuple[Finding, ...], dict[tuple, int]]:
    """Read a file that people wrote in TOML, as `read_file` does, whatever its keys mean."""
    try:
        text = read_bytes(path).decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{error.object[error.start]:02x}"
        return {}, (Finding(line, "file", "must be text in UTF-8", found),), {}
    try:
        document = tomllib.loads(text)
    except ValueError as error:
        # beside what is no TOML, a number with more digits than are read
        return {}, tuple(_all_syntax(text, error)), {}
    except RecursionError:
        document = None
    if document is None or _depth(document) > MOST_NESTED:
        rule = f"must have lists and tables at most {MOST_NESTED} deep inside one another"
        return {}, (Finding(0, "file", rule, "deeper ones"),), {}
    lines = line_numbers(text)
    for path, value in values(document):
        if isinstance(value, int) and not -2**63 <= value < 2**63:
            found = Finding(line_of(lines, path), in_words(document, path), WHOLE, "more")
            return {}, (found,), {}
    return document, (), lines


def _depth(document: dict) -> int:
    depth, level = 0, [document]
    while level:
        depth += 1
        level = [each for one in level for each in (one.values() if isinstance(one, dict) else one)
                 if isinstance(each, dict | list)]
    return depth


def _all_syntax(text: str, error: ValueError) -> Iterator[Finding]:
    """Yield the first thing that is no TOML, and each further line that by itself is none."""
    found = _syntax(text, error)
    yield found
    lines = text.split("\n")
    for _ in range(MOST_SYNTAX):
        if _no_toml(lines[found.line - 1]) is None:
            return
        lines[found.line - 1] = ""
        rest = "\n".join(lines)
        if (error := _no_toml(rest)) is None:
            return
        found = _syntax(rest, error)
        if _no_toml(lines[found.line - 1]) is not None:
            yield found


def _no_toml(text: str) -> ValueError | None:
    try:
        tomllib.loads(text)
    except ValueError as error:
        return error
    except RecursionError:
        pass
    return None


def _syntax(text: str, error: ValueError) -> Finding:
    where = re.search(r"at line (\d+)", str(error))
    every = text.split("\n")
    line = int(where.group(1)) if where else len(every)
    content = every[line - 1].strip()
    if not isinstance(error, tomllib.TOMLDecodeError):
        line = 1 + text.count("\n", 0, re.search(r"\d[\d_]{4000}", text).start())
        return Finding(line, "file", WHOLE, "more digits than are read")
    said = re.sub(r" \(at .*\)", "", str(error))
    if content.startswith("["):
        # what is no table there stands as one further up
        said = said.replace("Cannot overwrite a value", "Cannot declare")
    rule = "must be TOML: " + next((
        better for begins, better in SAID_BETTER.items() if said.startswith(begins)), said)
    if re.search(r"=\s*[\d_]+,\d", content):
        rule = "must have numbers with a point and without separators, such as 60000 or 0.5"
    elif re.search(r'=\s*"[^"]*"\s*,', content):
        rule = "must be TOML: several values are a list in [ ]"
    return Finding(line, "file", rule, repr(content[:200]))
