"""The mutation tester: which mutants it makes, and that it tells dead, living and slow apart."""

import ast
import os
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from tests.mutants import Module, mutants_of

ROOT = Path(__file__).resolve().parent.parent


def made(source: str) -> list[str]:
    return [str(mutant) for mutant in mutants_of(ast.parse(textwrap.dedent(source)))]


@pytest.mark.parametrize(
    "before, after",
    [
        ("a + b", ["a - b"]),
        ("a - b", ["a + b"]),
        ("a * b", ["a / b"]),
        ("a / b", ["a * b"]),
        ("a ** b", ["a * b"]),
        ("a // b", ["a * b"]),
        ("a % b", ["a * b"]),
        ("a += b", ["a -= b"]),
        ("a and b", ["a or b"]),
        ("a or b", ["a and b"]),
        ("not a", ["a"]),
        ("-a", ["a"]),
        ("a < b", ["a <= b"]),
        ("a <= b", ["a < b"]),
        ("a > b", ["a >= b"]),
        ("a >= b", ["a > b"]),
        ("a == b", ["a != b"]),
        ("a != b", ["a == b"]),
        ("a in b", ["a not in b"]),
        ("a not in b", ["a in b"]),
        ("a is b", ["a is not b"]),
        ("a is not b", ["a is b"]),
        ("a < b < c", ["a <= b < c", "a < b <= c"]),
        ("a = 0", ["a = 1"]),
        ("a = 1", ["a = 0", "a = 2"]),
        ("a = 7", ["a = 8", "a = 14"]),
        ("a = 0.5", ["a = 1.0", "a = 1.5"]),
        ("a = True", ["a = False"]),
        ("a = False", ["a = True"]),
        ("a == 'x'", ["a != 'x'", "a == ''"]),
        ("a == ''", ["a != ''", "a == 'other'"]),
        ("a in ('x', b)", ["a not in ('x', b)", "a in ('', b)"]),
        ("min(a, b)", ["max(a, b)"]),
        ("np.maximum(a, b)", ["np.minimum(a, b)"]),
        ("a[0]", ["a[1]"]),
        ("a[b:c]", ["a[b + 1:c]", "a[b:c + 1]"]),
        ("a if b else c", ["a if not b else c"]),
        ("a if not b else c", ["a if b else c"]),
        ("a if b == c else d", ["a if b != c else d"]),
        ("[a for a in b if c]", ["[a for a in b if not c]"]),
    ],
)
def test_each_kind_of_change(before, after):
    assert made(before) == [f"1: {before} -> {text}" for text in after]


def test_a_mutant_names_its_line_and_shows_what_differs():
    source = '''
        """A text with 1 number."""

        def area(width_m, height_m):
            """Return it."""
            if width_m < height_m:
                return (
                    width_m
                    * height_m
                )
            return the_area_of_a_name_too_long_to_be_shown(0, width_m, height_m, width_m, 'x')
    '''
    assert made(source) == [
        "6: if width_m < height_m: -> if not width_m < height_m:",
        "6: if width_m < height_m: -> if width_m <= height_m:",
        "8: return width_m * height_m -> return width_m / height_m",
        "11: ...f_a_name_too_long_to_be_shown(0, width_m, height_m, width_m, ..."
        + " -> ...f_a_name_too_long_to_be_shown(1, width_m, height_m, width_m, ...",
    ]


@pytest.mark.parametrize(
    "source",
    [
        '"""Text."""',
        "__all__ = ['a', 'b'] + ['c']",
        "def a(b: Literal[1]) -> tuple[2]:\n    'Text.'",
        "a: Literal[3]",
        "if TYPE_CHECKING:\n    a = 1",
        "if typing.TYPE_CHECKING:\n    a = 1",
        "if __name__ == '__main__':\n    a(1)",
        "@dataclass(frozen=True)\nclass A:\n    'Text.'",
        "raise ValueError(f'{a + 1} must be > ' + 'x')",
        "zip(a, b, strict=True)",
        "a = 'x' + b + c",
        "a = 'x %s' % b",
        "a += 'x'",
        "a['x'] = f(b, 'y')",
        "a = ('x', b)",
    ],
)
def test_what_is_left_alone(source):
    assert made(source) == []


def test_only_short_strings_are_emptied():
    assert [len(made(f"a == '{length * 'x'}'")) for length in (30, 31)] == [2, 1]


def test_code_of_a_mutant_is_changed_at_its_place_only(tmp_path):
    path = tmp_path / "sums.py"
    path.write_text("from __future__ import annotations\na: int = 2\nb = a + 3 - 1\n")
    module = Module(path)
    results = {}
    for mutant in [*mutants_of(module.tree), None]:
        names = {}
        exec(module.code(mutant), names)
        results[mutant and mutant.after] = names["b"]
    assert results == {
        "a: int = 3": 5,
        "a: int = 4": 6,
        "b = a + 3 + 1": 6,
        "b = a - 3 - 1": -2,
        "b = a + 4 - 1": 5,
        "b = a + 6 - 1": 7,
        "b = a + 3 - 0": 5,
        "b = a + 3 - 2": 3,
        None: 4,
    }
    assert path.read_text().endswith("b = a + 3 - 1\n")


def test_tests_are_found_by_what_they_import(tmp_path):
    files = {
        "house/__init__.py": "",
        "house/rooms/__init__.py": "from house.rooms.kitchen import Stove",
        "house/rooms/kitchen.py": "class Stove: ...\nHEAT = 3\nclass Sink: ...",
        "tests/test_kitchen.py": "",
        "tests/test_by_name.py": "from house.rooms.kitchen import HEAT",
        "tests/test_by_module.py": "from house.rooms import kitchen",
        "tests/test_by_package.py": "from house.rooms import Stove",
        "tests/test_by_door.py": "from house import Sink",
        "tests/test_package.py": "from house import rooms",
        "tests/deep/test_inside.py": "def test():\n    import house.rooms.kitchen as k",
        "tests/test_other_name.py": "from house.rooms import Bed",
        "tests/test_top.py": "import house",
        "tests/kitchen.py": "import house.rooms.kitchen",
        "house/cellar/__init__.py": "",
        "house/cellar/drain.py": "",
        "house/cellar/pipe.py": "from house.cellar.drain import flow",
        "house/cellar/tap.py": "from house.cellar.pipe import Pipe",
        "tests/test_tap.py": "from house.cellar.tap import Tap",
    }
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    module = Module(tmp_path / "house" / "rooms" / "kitchen.py")
    assert (module.root, module.name) == (tmp_path.resolve(), "house.rooms.kitchen")
    assert {path.stem for path in module.tests()} == {
        "test_kitchen",
        "test_by_name",
        "test_by_module",
        "test_by_package",
        "test_by_door",
        "test_package",
        "test_inside",
    }
    assert Module(tmp_path / "house" / "rooms" / "__init__.py").name == "house.rooms"
    # No test imports the drain, nor the pipe that does.
    drain = Module(tmp_path / "house" / "cellar" / "drain.py")
    assert [path.stem for path in drain.tests()] == ["test_tap"]


@pytest.fixture
def counter(tmp_path):
    (tmp_path / "counter.py").write_text(
        "def steps(n):\n"
        "    done = 0\n"
        "    while n > 0:\n"
        "        n -= 1\n"
        "        done += 1\n"
        "    return done\n"
    )
    (tmp_path / "test_counter.py").write_text(
        "from counter import steps\n\n\ndef test_steps():\n    assert steps(0) == 0 < steps(2)\n"
    )
    return tmp_path


def run(folder, *arguments):
    return subprocess.run(
        [sys.executable, "-m", "tests.mutants", str(folder / "counter.py"), *arguments],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_killed_survived_and_timed_out_are_told_apart(counter):
    before = sorted(counter.rglob("*.py")), (counter / "counter.py").read_bytes()
    table = counter / "table.md"
    tests = ["--tests", str(counter / "test_counter.py"), "--least-s", "2", "--table", str(table)]
    ended = run(counter, *tests)
    assert ended.returncode == 0, ended.stderr
    # `larger_of_two` is the example that has lost one mutant and kept one before anything else.
    assert re.findall(r"^\w+: \d+ of \d+", ended.stderr, re.MULTILINE) == [
        "larger_of_two: 2 of 2",
        "counter: 9 of 9",
    ]
    lines = [
        "| module | mutants | killed | survived | timed out | per cent |",
        "| --- | --- | --- | --- | --- | --- |",
        "| counter | 9 of 9 | 4 | 3 | 2 | 44 |",
        "",
        "| survivor | before | after |",
        "| --- | --- | --- |",
        "| counter.py:3 | `while n > 0:` | `while n > 1:` |",
        "| counter.py:4 | `n -= 1` | `n -= 2` |",
        "| counter.py:5 | `done += 1` | `done += 2` |",
    ]
    assert ended.stdout.splitlines()[:9] == table.read_text().splitlines() == lines
    assert (sorted(counter.rglob("*.py")), (counter / "counter.py").read_bytes()) == before


def test_refused_when_the_unchanged_tests_fail_or_do_not_use_the_module(counter):
    test = counter / "test_counter.py"
    test.write_text("def test_nothing():\n    assert True\n")
    ended = run(counter, "--tests", str(test))
    assert ended.returncode == 1
    assert "the tests pass without counter: test_counter.py" in ended.stderr
    test.write_text("import counter\n\n\ndef test_steps():\n    assert counter.steps(3) == 4\n")
    ended = run(counter, "--tests", str(test))
    assert ended.returncode == 1
    assert "the unchanged tests do not pass" in ended.stderr
