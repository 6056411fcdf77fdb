"""Change a module in small ways and see whether its tests notice: `python -m tests.mutants FILE`.

One or more files of modules, each changed at one place at a time (a *mutant*): an operator, a
number, a condition. Tests that fail have killed the mutant. One that survives is either a gap in
the tests or a change without effect, which a reader decides. Not part of the suite: it takes
minutes, and no share of killed mutants is right for all modules.

    --tests FILE ...  the tests to run; otherwise `test_<module>.py` and each test file that imports
                      the module, a name that it defines, or one of few modules that use it; those
                      that take least time first
    --most N          mutants per module, drawn at random (default 40)
    --seed S          seed of that draw and of Hypothesis (default 1)
    --jobs N          mutants at the same time (default 2)
    --least-s S       time limit of a mutant, if 5 times the unchanged tests is less (default 10)
    --table FILE      write what is printed, two tables in Markdown, to a file too

No file is changed: each mutant runs in a forked process, to which the import system hands the
changed module. Python processes that tests start themselves, kernels too, see the unchanged one.
Notebooks and tests in a browser do not run. Nothing is measured before a mutant that must die has
died, one that must live has lived, and the unchanged module has passed. Linux and macOS only.
"""

from __future__ import annotations

import argparse
import ast
import collections
import contextlib
import copy
import importlib.util
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.machinery import SourceFileLoader
from pathlib import Path

import hypothesis
import pytest

# What takes long to import and is the same for every mutant, if its tests use it.
LOADED_ONCE = ("numpy", "scipy.stats", "scipy.sparse.linalg", "matplotlib.figure", "ipywidgets")
PAIRS = [
    (ast.Add, ast.Sub),
    (ast.Mult, ast.Div),
    (ast.And, ast.Or),
    (ast.Lt, ast.LtE),
    (ast.Gt, ast.GtE),
    (ast.Eq, ast.NotEq),
    (ast.In, ast.NotIn),
    (ast.Is, ast.IsNot),
]
OTHER = dict.fromkeys((ast.Pow, ast.FloorDiv, ast.Mod), ast.Mult)
OTHER |= dict(PAIRS) | {second: first for first, second in PAIRS}
OPPOSITE = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}
# Their one change says the same as the condition turned round.
TURNED_ROUND = ast.Eq | ast.NotEq | ast.In | ast.NotIn | ast.Is | ast.IsNot
# Types, decorators, and the text of an exception.
SKIPPED_FIELDS = {"annotation", "returns", "decorator_list", "exc"}
LONGEST_STRING = 30
MEMORY_BYTES = 4 * 1024**3
FEW = 2  # modules through which another one is tested
UNUSED = 99  # exit status: the tests have passed without the module


@dataclass(frozen=True)
class Mutant:
    """One change: `new` at a place in the tree, and how its line reads before and after."""

    line: int
    before: str
    after: str
    place: tuple[ast.AST, str, int | None]
    new: ast.AST

    def __str__(self):
        return f"{self.line}: {self.before} -> {self.after}"


def mutants_of(tree: ast.AST) -> list[Mutant]:
    """Return every mutant of a module, in the order of its text."""
    found = []
    for place, new, line, statement in _changes(tree, tree, compared=False):
        old = _put(place, new)
        after = ast.unparse(statement)
        _put(place, old)
        found.append(Mutant(line, *_difference(ast.unparse(statement), after), place, new))
    return sorted(found, key=lambda mutant: mutant.line)


def _put(place, new):
    """Set a node, and return the one that stood there."""
    node, field, index = place
    old = getattr(node, field)
    if index is None:
        setattr(node, field, new)
        return old
    old[index], old = new, old[index]
    return old


def _changes(node: ast.AST, statement: ast.AST, compared: bool) -> Iterator[tuple]:
    if isinstance(node, ast.If) and ast.unparse(node.test).endswith(
        ("TYPE_CHECKING", "__name__ == '__main__'")
    ):
        return
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
        return
    if isinstance(node, ast.stmt):
        statement = node
    # A string counts as compared also in a tuple, list or set: `x in ("a", "b")`.
    compared = isinstance(node, ast.Compare) or (
        compared and isinstance(node, ast.Tuple | ast.List | ast.Set)
    )
    if isinstance(node, ast.keyword) and node.arg == "strict":
        return  # zip(strict=True) is a check of the program by itself, true for every right one
    for field, value in ast.iter_fields(node):
        if field in SKIPPED_FIELDS:
            continue
        for index, child in enumerate(value if isinstance(value, list) else [value]):
            if not isinstance(child, ast.AST):
                continue
            place = (node, field, index if isinstance(value, list) else None)
            line = getattr(child, "lineno", getattr(node, "lineno", 0))
            for new in _replacements(node, field, child, compared):
                yield place, new, line, statement
            yield from _changes(child, statement, compared)


def _replacements(parent: ast.AST, field: str, child: ast.AST, compared: bool) -> Iterator[ast.AST]:
    match child:
        case ast.operator() | ast.boolop() | ast.cmpop():
            if type(child) in OTHER and not _is_text(parent):
                yield OTHER[type(child)]()
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value) | float(value)):
            others = {value + 1, value * 2, value - 1 if value == 1 else value}
            yield from map(ast.Constant, sorted(others - {value}))
        case ast.Constant(value=str(value)) if compared and len(value) <= LONGEST_STRING:
            yield ast.Constant("" if value else "other")
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield child.operand
        case ast.Name(id=name) if field == "func" and name in OPPOSITE:
            yield ast.Name(OPPOSITE[name], ast.Load())
        case ast.Attribute(value=owner, attr=name) if field == "func" and name in OPPOSITE:
            yield ast.Attribute(owner, OPPOSITE[name], ast.Load())
    if field == "ifs" or (field == "test" and isinstance(parent, ast.If | ast.IfExp)):
        match child:
            case ast.UnaryOp(op=ast.Not()):
                pass
            case ast.Compare(ops=[op]) if isinstance(op, TURNED_ROUND):
                pass
            case _:
                yield ast.UnaryOp(ast.Not(), child)
    # Numbers as bounds are changed as numbers.
    if field in ("lower", "upper") and not isinstance(child, ast.Constant | ast.UnaryOp):
        yield ast.BinOp(child, ast.Add(), ast.Constant(1))


def _is_text(node: ast.AST) -> bool:
    """Whether an operation joins strings, so that any other operator fails at once."""
    match node:
        case ast.Constant(value=str()) | ast.JoinedStr():
            return True
        case ast.BinOp(left=left, op=ast.Add(), right=right):
            return _is_text(left) or _is_text(right)
        case ast.BinOp(left=side, op=ast.Mod()) | ast.AugAssign(value=side):
            return _is_text(side)
    return False


def _difference(before: str, after: str, most: int = 30) -> tuple[str, str]:
    """Return the lines that differ, cut to the characters around the difference."""
    lines = zip(before.splitlines(), after.splitlines(), strict=True)
    before, after = next((old.strip(), new.strip()) for old, new in lines if old != new)
    same = len(os.path.commonprefix([before, after]))
    tail = len(os.path.commonprefix([before[same:][::-1], after[same:][::-1]]))
    start = max(0, same - most)

    def cut(text: str) -> str:
        end = min(len(text), len(text) - tail + most)
        return "..." * (start > 0) + text[start:end] + "..." * (end < len(text))

    return cut(before), cut(after)


class Module:
    """A module under test: where it stands, what it is called, and what it reads."""

    def __init__(self, path: Path):
        self.path = path.resolve(strict=True)
        self.root = self.path.parent
        while (self.root / "__init__.py").exists():
            self.root = self.root.parent
        parts = list(self.path.relative_to(self.root).with_suffix("").parts)
        self.name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        self.tree = ast.parse(self.path.read_text(encoding="utf-8"))

    def code(self, mutant: Mutant | None):
        if mutant is None:
            return compile(self.tree, str(self.path), "exec", dont_inherit=True)
        old = _put(mutant.place, mutant.new)
        tree = ast.fix_missing_locations(copy.deepcopy(self.tree))
        _put(mutant.place, old)
        return compile(tree, str(self.path), "exec", dont_inherit=True)

    def tests(self) -> list[Path]:
        """Return the test files that import this module, or a name of it through a package.

        What only one or two modules beside it use is tested through these too. Where there are
        no tests, they are those of the modules that import it, and so on.
        """
        files = sorted((self.root / "tests").rglob("test_*.py"))
        inside = (self.root / self.name.split(".")[0]).rglob("*.py")
        imports = {path: self._imports(path) for path in (*files, *inside)}
        named = [path for path in files if path.stem == f"test_{self.name.split('.')[-1]}"]
        here, met = {self.path}, set()
        while here:
            users = {path for path in imports.keys() - files if self._known_as(here) & imports[path]}
            beside = {path for path in users if path.parent == self.path.parent} - here
            wanted = self._known_as(here | beside if len(beside) <= FEW else here)
            found = [path for path in files if wanted & imports[path]]
            if found:
                return sorted({*found, *named})
            met |= here
            here = users - met
        return named

    def _known_as(self, paths: Iterable[Path]) -> set[str]:
        """Return the names by which modules are imported, and each name that they define."""
        wanted = set()
        for path in paths:
            parts = path.relative_to(self.root).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            above = name.split(".")[:-1]
            packages = [".".join(above[:count]) for count in range(1, len(above) + 1)]
            # The top package is imported for everything; the others only for what stands in them.
            wanted |= {name, *packages[1:]}
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                targets = getattr(node, "targets", [getattr(node, "target", node)])
                names = [getattr(target, "name", getattr(target, "id", "")) for target in targets]
                wanted.update(f"{each}.{name}" for each in packages for name in names if name)
        return wanted

    def _imports(self, path: Path) -> set[str]:
        found = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found.update(alias.name for alias in node.names)
            elif isinstance(node, ast.ImportFrom):
                found.update(f"{node.module}.{alias.name}" for alias in node.names)
                if node.module and self.root.joinpath(*node.module.split(".")).with_suffix(".py").exists():
                    found.add(node.module)
        return found


class Changed(SourceFileLoader):
    """The import system's source of one module, with the code that it is given."""

    def __init__(self, module: Module, code):
        super().__init__(module.name, str(module.path))
        self.code, self.used = code, False

    def find_spec(self, name, path=None, target=None):
        if name == self.name:
            return importlib.util.spec_from_file_location(name, self.path, loader=self)
        return None

    def get_code(self, fullname):
        self.used = True
        return self.code


class Watch:
    """What is seen of a run of pytest: the time of each file; tests in a browser are left out."""

    def __init__(self):
        self.seconds = collections.Counter()

    def pytest_configure(self):
        del os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"]  # for tests that run pytest themselves

    def pytest_collection_modifyitems(self, items):
        items[:] = [item for item in items if "workplace" not in item.fixturenames]

    def pytest_runtest_logreport(self, report):
        self.seconds[report.nodeid.split("::")[0]] += report.duration


class Runs:
    """Runs of pytest on one module, each in a forked process of its own."""

    def __init__(self, module: Module, tests: list[Path], seed: int, folder: Path):
        self.module, self.tests, self.seed, self.folder = module, tests, seed, folder
        self.running: dict[int, tuple[Mutant | None, float]] = {}

    def start(self, mutant: Mutant | None, limit_s: float) -> None:
        code = self.module.code(mutant)
        sys.stdout.flush()
        sys.stderr.flush()
        process = os.fork()
        if process == 0:
            status = 1
            try:
                status = self._test(code)
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(status)
        self.running[process] = (mutant, time.monotonic() + limit_s)

    def _test(self, code) -> int:
        os.setsid()
        import resource  # not on every system

        resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
        folder = self.folder / str(os.getpid())
        folder.mkdir()
        output = os.open(folder / "output", os.O_WRONLY | os.O_CREAT)
        os.dup2(output, 1)
        os.dup2(output, 2)
        os.environ["TMPDIR"] = tempfile.tempdir = str(folder)
        os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder / "hypothesis")
        os.chdir(self.module.root)
        sys.path.insert(0, str(self.module.root))
        assert self.module.name not in sys.modules
        changed, watch = Changed(self.module, code), Watch()
        sys.meta_path.insert(0, changed)
        # Of the plugins Hypothesis alone: they take longer to load than many a test, and notebooks
        # stay out.
        os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
        os.environ.pop("PYTEST_ADDOPTS", None)
        options = ["-x", "-q", "-o", "addopts=", "-p", "no:cacheprovider"]
        options += ["-p", "_hypothesis_pytestplugin"]
        options += ["--strict-markers", f"--rootdir={self.module.root}"]
        options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # Hypothesis is loaded once
        options += [f"--hypothesis-seed={self.seed}", "--hypothesis-profile=mutants"]
        status = pytest.main([*options, *map(str, self.tests)], plugins=[watch])
        sys.stdout.flush()
        loaded = [name for name in LOADED_ONCE if name in sys.modules]
        (folder / "seen").write_text(json.dumps([watch.seconds, loaded]))
        return UNUSED if status == 0 and not changed.used else int(status)

    def wait(self) -> tuple[Mutant | None, int | None, Path]:
        """Wait for a run to end: its mutant, exit status (None: took too long) and folder."""
        while True:
            for process, (mutant, deadline) in list(self.running.items()):
                ended, status = os.waitpid(process, os.WNOHANG)
                if ended or time.monotonic() > deadline:
                    self._end(process, ended=bool(ended))
                    status = os.waitstatus_to_exitcode(status) if ended else None
                    return mutant, status, self.folder / str(process)
            time.sleep(0.01)

    def _end(self, process: int, ended: bool) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process, signal.SIGKILL)  # what its tests have started, too
        if not ended:
            os.waitpid(process, 0)
        del self.running[process]

    def stop(self) -> None:
        for process in list(self.running):
            self._end(process, ended=False)


@dataclass(frozen=True)
class Result:
    """What became of the mutants of a module."""

    module: Module
    made: int
    fates: dict[str, list[Mutant]]


def examine(
    path: Path, tests: list[Path], most: int, seed: int, jobs: int, least_s: float
) -> Result:
    """Run the mutants of one module; refuse when its unchanged tests do not pass."""
    module = Module(path)
    tests = [test.resolve(strict=True) for test in tests] or module.tests()
    if not tests:
        raise SystemExit(f"{path}: no test file imports {module.name}; name some with --tests")
    made = mutants_of(module.tree)
    draw = random.Random(f"{seed} {module.name}").sample(range(len(made)), min(most, len(made)))
    waiting = [made[number] for number in sorted(draw)]
    fates = {"killed": [], "survived": [], "timed out": []}
    with tempfile.TemporaryDirectory(prefix="mutants-", ignore_cleanup_errors=True) as folder:
        runs = Runs(module, tests, seed, Path(folder))
        try:
            begun = time.monotonic()
            runs.start(None, limit_s=float("inf"))
            _, status, seen = runs.wait()
            limit_s = max(least_s, 5 * (time.monotonic() - begun))
            if status == UNUSED:
                raise SystemExit(f"{path}: the tests pass without {module.name}: {_names(tests)}")
            if status != 0:
                output = (seen / "output").read_text(errors="replace")
                raise SystemExit(f"{output}\n{path}: the unchanged tests do not pass, see above")
            seconds, loaded = json.loads((seen / "seen").read_text())
            for name in loaded:
                importlib.import_module(name)
            tests.sort(key=lambda test: seconds.get(os.path.relpath(test, module.root), 0))
            note = f"{len(waiting)} of {len(made)} mutants, limit {limit_s:.0f} s"
            print(f"{module.name}: {note}, tests {_names(tests)}", file=sys.stderr)
            while waiting or runs.running:
                while waiting and len(runs.running) < jobs:
                    runs.start(waiting.pop(0), limit_s)
                mutant, status, seen = runs.wait()
                fate = "timed out" if status is None else "killed" if status else "survived"
                fates[fate].append(mutant)
                shutil.rmtree(seen, ignore_errors=True)
        finally:
            runs.stop()
    for mutants in fates.values():
        mutants.sort(key=lambda mutant: mutant.line)
    return Result(module, len(made), fates)


def _names(tests: list[Path]) -> str:
    return " ".join(test.name for test in tests)


def prove() -> None:
    """Refuse to go on unless a mutant that must die dies and one that must live lives."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        module, test = Path(folder) / "larger_of_two.py", Path(folder) / "test_larger_of_two.py"
        module.write_text("def larger(a, b):\n    return a if a > b else b\n")
        test.write_text(
            "from larger_of_two import larger\n\n\n"
            "def test_larger():\n    assert (larger(1, 2), larger(2, 1)) == (2, 2)\n"
        )
        fates = examine(module, [test], most=2, seed=1, jobs=2, least_s=60).fates
    died, lived = [[one.after for one in fates[fate]] for fate in ("killed", "survived")]
    if died != ["return a if not a > b else b"] or lived != ["return a if a >= b else b"]:
        raise SystemExit(f"the example must lose one mutant and keep one, got {fates}")


def report(results: list[Result]) -> str:
    """Return the counts of each module and the list of survivors as two tables of Markdown."""
    counts = [["module", "mutants", "killed", "survived", "timed out", "per cent"]]
    survivors = [["survivor", "before", "after"]]
    for result in results:
        fates = [len(result.fates[fate]) for fate in counts[0][2:5]]
        share = f"{100 * fates[0] / sum(fates):.0f}" if sum(fates) else "-"
        of = f"{sum(fates)} of {result.made}"
        counts.append([result.module.name, of, *map(str, fates), share])
        path = result.module.path.relative_to(result.module.root)
        for one in result.fates["survived"]:
            survivors.append([f"{path}:{one.line}", f"`{one.before}`", f"`{one.after}`"])
    lines = []
    for header, *rows in (counts, survivors):
        for row in [header, ["---"] * len(header), *rows]:
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |")
        lines.append("")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("modules", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--tests", nargs="+", type=Path, default=[], metavar="FILE")
    parser.add_argument("--most", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--least-s", type=float, default=10)
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    # Before NumPy is imported: a fork does not take threads along.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    # What fails need not be made small, and a busy machine is no failure.
    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile("mutants", phases=phases, database=None, deadline=None)
    prove()
    results = []
    for path in given.modules:
        results.append(
            examine(path, given.tests, given.most, given.seed, given.jobs, given.least_s)
        )
        if given.table:  # after each module: the next may take long
            given.table.write_text(report(results), encoding="utf-8")
    print(report(results))


if __name__ == "__main__":
    main()
