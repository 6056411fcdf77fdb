"""Hold every lesson, found by its folder, to the form in which lessons are kept and taught.

What a run of the cells gives is compared by nbval; here stands what nbval cannot see.
"""

import re
import urllib.parse
from pathlib import Path
from statistics import median

import nbformat
import pytest

from lessons.exercises.lookup import lesson_of
from lessons.teaching.lesson_file import NotebookCell, read_lesson
from tests.minutes import FURTHER, contents, head_line, minutes_of
from tests.notebooks import KERNEL, ROOT, lessons, normal_form, stored_text
from tests.prose import is_answer, only_calls

LESSONS = lessons()
READ = {path: nbformat.read(path, as_version=4) for path in LESSONS}

# The only tag that a lesson needs: an error that is shown on purpose.
TAGS = {"raises-exception"}
# The core, what is further, and the problems at the end.
MOST_CELLS = 52
MOST_CODE_LINES = 15
USUAL_CODE_LINES = 4
LONGEST_CODE_LINE = 88
MOST_WORDS = 120
# A line of text is 17.5 px high in JupyterLab, and an output is to fit into 600 px.
MOST_OUTPUT_LINES = 34
MOST_BYTES = 400_000

# Outputs that strict nbval cannot compare, or cells that wait for a reader.
AVOIDED = {
    r";\s*$": "a closing ';' (nbval does not honour it)",
    r"\binput\(": "input()",
    r"\binteract\w*\(": "interact: its output cannot be compared",
    r"\bOutput\(": "Output: it cannot be compared",
    r"\bclear_output\(": "clear_output: it cannot be compared",
    r"^\s*[%!]": "a magic or a shell line",
    r"\bimport \*": "a star import",
}


@pytest.fixture(params=LESSONS, ids=lambda path: path.stem)
def lesson(request):
    return request.param


@pytest.fixture
def notebook(lesson):
    return READ[lesson]


def of_kind(notebook, kind):
    return [cell for cell in notebook.cells if cell.cell_type == kind]


def headings(notebook):
    """Return (level, text) of each heading, code blocks left out."""
    found = []
    for cell in of_kind(notebook, "markdown"):
        text = re.sub(r"^```.*?^```", "", cell.source, flags=re.MULTILINE | re.DOTALL)
        for marks, words in re.findall(r"^(#{1,6})\s+(.+?)\s*#*$", text, re.MULTILINE):
            found.append((len(marks), plain(words)))
    return found


def plain(text):
    """Return Markdown text without its marks."""
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", text)
    return re.sub(r"[*`]|<[^>]+>", "", text)


def words(text):
    """Count what a reader reads as words; rules of tables and marks of formulas are none."""
    return sum(bool(re.search(r"\w", token)) for token in plain(text).split())


def links(notebook):
    """Return the targets of links and pictures in the text."""
    text = "\n".join(cell.source for cell in of_kind(notebook, "markdown"))
    return [
        *re.findall(r"\]\(<?([^)\s>]+)>?(?:\s+\"[^\"]*\")?\)", text),
        *re.findall(r"(?:href|src)=[\"']([^\"']+)", text),
    ]


def test_there_are_lessons():
    assert LESSONS, "no notebook found in lessons/"


def test_file_is_stored_in_normal_form(lesson, notebook):
    same = lesson.read_text(encoding="utf-8") == stored_text(notebook)
    assert same, f"run: python -m tests.notebooks {lesson.relative_to(ROOT)}"


def test_name_has_its_number(lesson):
    assert re.fullmatch(r"\d\d_[a-z0-9_]+", lesson.stem)


def test_every_code_cell_was_run(notebook):
    counts = [cell.execution_count for cell in of_kind(notebook, "code")]
    assert counts == list(range(1, len(counts) + 1)) and counts


def test_no_cell_is_empty_or_raw(notebook):
    assert all(cell.source.strip() for cell in notebook.cells)
    assert not of_kind(notebook, "raw")


def test_code_that_only_calls_is_folded_and_code_that_shows_is_open(notebook):
    for cell in of_kind(notebook, "code"):
        folded = cell.metadata.get("jupyter", {})
        answer = is_answer(cell.source)
        assert folded.get("source_hidden", False) == (only_calls(cell.source) or answer), cell.source
        # A run opens an output that was closed, so what answers prints is folded by itself.
        assert "outputs_hidden" not in folded, cell.source
        printed = [line for line in cell.source.splitlines() if line.startswith("print(")]
        assert not answer or (not printed and "\nwith folded():\n" in cell.source), cell.source


def test_a_folded_call_is_told_from_code_to_be_read():
    assert only_calls("from lessons import ask\n\nask('01-a', fresh=1)")
    assert only_calls("six = ['a']\nplant_panel(faults=six)")
    assert not only_calls("from labkit import Rig\n\nrig = Rig()\nplant_panel(rig)")
    assert not only_calls("print(2)\nask('01-a')")
    assert not only_calls("ask('01-a')\nprint(2)")


def test_no_cell_is_exempt_from_comparison(notebook):
    tags = {tag for cell in notebook.cells for tag in cell.metadata.get("tags", [])}
    assert tags <= TAGS
    marks = [cell.source for cell in notebook.cells if re.search(r"NBVAL|nbval", cell.source)]
    assert not marks


def test_errors_are_announced_and_announced_errors_come(notebook):
    for cell in of_kind(notebook, "code"):
        failed = any(output.output_type == "error" for output in cell.outputs)
        assert failed == ("raises-exception" in cell.metadata.get("tags", [])), cell.source


def test_no_widget_state_and_no_picture_data(notebook):
    assert notebook.metadata.kernelspec == KERNEL
    assert set(notebook.metadata) == {"kernelspec", "language_info"}
    assert notebook.metadata.language_info == {"name": "python"}
    kinds = {
        kind
        for cell in of_kind(notebook, "code")
        for output in cell.outputs
        for kind in output.get("data", {})
    }
    assert kinds <= {"text/plain", "text/html", "text/markdown", "text/latex", "image/svg+xml"}
    assert not any(cell.get("attachments") for cell in notebook.cells)


def test_no_warnings_are_shown(notebook):
    for cell in of_kind(notebook, "code"):
        assert not any(output.get("name") == "stderr" for output in cell.outputs), cell.source


def test_no_path_of_one_machine_is_stored(lesson):
    text = lesson.read_text(encoding="utf-8")
    assert not re.findall(r"(?:/home/|/root/|/Users/|/tmp/|site-packages|[A-Z]:\\\\)[^\s\"]*", text)


def test_outputs_fit_on_a_screen(lesson, notebook):
    assert lesson.stat().st_size <= MOST_BYTES
    for cell in of_kind(notebook, "code"):
        lines = sum(len(output.get("text", "").splitlines()) for output in cell.outputs)
        assert lines <= MOST_OUTPUT_LINES, cell.source


def test_cells_are_few_and_small(notebook):
    assert len(notebook.cells) <= MOST_CELLS
    code = [cell.source.splitlines() for cell in of_kind(notebook, "code")]
    # Worked answers are folded whole, and two of their lines fold what they print.
    assert all(len(lines) <= MOST_CODE_LINES + 5 * is_answer("\n".join(lines)) for lines in code)
    assert median(map(len, code)) <= USUAL_CODE_LINES
    too_long = [line for lines in code for line in lines if len(line) > LONGEST_CODE_LINE]
    assert not too_long


def test_texts_are_short(notebook):
    counted = [(words(cell.source), cell.source) for cell in of_kind(notebook, "markdown")]
    assert not [(count, text[:60]) for count, text in counted if count > MOST_WORDS]


def test_text_stands_before_every_code_cell(notebook):
    kinds = ["code"] + [cell.cell_type for cell in notebook.cells]
    bare = [
        cell.source
        for before, cell in zip(kinds, notebook.cells, strict=False)
        if before == cell.cell_type == "code"
    ]
    assert not bare


def test_headings_are_in_order(notebook):
    found = headings(notebook)
    assert [text for level, text in found if level == 1] == [found[0][1]]
    assert found[0][0] == 1 and notebook.cells[0].source.startswith("# ")
    for (above, _), (level, text) in zip(found, found[1:], strict=False):
        assert level <= above + 1, f"a level is skipped before {text!r}"
    names = [text for _, text in found]
    assert len(names) == len(set(names)), "two headings of one name: links cannot tell them apart"


def test_contents_with_minutes_come_first(notebook):
    start = "\n".join(cell.source for cell in notebook.cells[:4])
    targets = {urllib.parse.unquote(target) for target in re.findall(r"\]\(#([^)]+)\)", start)}
    sections = {text.replace(" ", "-") for level, text in headings(notebook) if level == 2}
    assert sections <= targets, f"not in the contents: {sorted(sections - targets)}"
    assert re.search(r"\d+\s*min", start)


def test_stated_minutes_are_those_that_are_counted(lesson, notebook):
    counted = minutes_of(notebook, lesson.stem[:2])
    start = "\n".join(cell.source for cell in notebook.cells[1:4])
    said = f"run: python -m tests.minutes {lesson.relative_to(ROOT)}"
    assert contents(counted) in start and head_line(counted) in notebook.cells[0].source, said


def test_the_core_takes_45_minutes_and_reaches_each_objective(lesson, notebook):
    number, core = lesson.stem[:2], []
    stated = int(re.search(r"(\d+) minutes \(\d+ to \d+\) for the core", notebook.cells[0].source)[1])
    assert abs(stated - 45) <= 4
    further = False
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            further = FURTHER in cell.source or cell.source.startswith("## Deeper")
        elif not further:
            core += NotebookCell("code", cell.source).items
    course = lesson_of(f"{number}-")
    chains = {chain.id: [step.item for step in chain.steps if step.item] for chain in course.chains}
    served = {course.item(name).objective for each in core for name in chains.get(each, [each])}
    assert set(read_lesson(lesson).objectives) <= served


def test_a_reader_acts_every_few_minutes(notebook):
    # 4 min without an action and 10 min without a marked check, at 150 words a minute.
    since_action = since_check = 0
    for cell in notebook.cells:
        read = cell.source if cell.cell_type == "markdown" else "".join(
            output.get("text", "") for output in cell.outputs)
        since_action += words(read)
        since_check += words(read)
        assert since_action <= 4 * 150, cell.source
        assert since_check <= 10 * 150, cell.source
        if re.search(r"\b(?:ask|steps|recall|predict_first|\w+_panel)\(", cell.source):
            since_action = 0
        if re.search(r"\b(?:ask|steps|recall)\(", cell.source):
            since_check = 0


def test_links_resolve(lesson, notebook):
    anchors = {text.replace(" ", "-") for _, text in headings(notebook)}
    for target in links(notebook):
        if target.startswith("#"):
            assert urllib.parse.unquote(target[1:]) in anchors, target
        elif urllib.parse.urlsplit(target).scheme:
            assert target.startswith("https://"), target
        else:
            place, _, anchor = target.partition("#")
            other = lesson.parent / urllib.parse.unquote(place)
            assert other.exists(), target
            if anchor.startswith("cell-id="):
                there = {cell.id for cell in nbformat.read(other, as_version=4).cells}
                assert anchor.removeprefix("cell-id=") in there, target
            elif anchor and other.suffix == ".ipynb":
                there = headings(nbformat.read(other, as_version=4))
                assert urllib.parse.unquote(anchor) in {t.replace(" ", "-") for _, t in there}


def test_pictures_say_what_they_show(notebook):
    for cell in of_kind(notebook, "markdown"):
        assert not re.findall(r"!\[\s*\]", cell.source)
        assert not re.findall(r"<img(?![^>]*\balt=\"[^\"]+\")", cell.source)
    for cell in of_kind(notebook, "code"):
        for output in cell.outputs:
            data = output.get("data", {})
            drawn = data.get("text/html", "") + data.get("image/svg+xml", "")
            for tag in re.findall(r"<svg[^>]*>(?:\s*<title[^>]*>[^<]+)?", drawn):
                assert re.search(r"aria-label=\"[^\"]+\"|<title[^>]*>\S", tag), tag


@pytest.mark.parametrize(("pattern", "what"), AVOIDED.items())
def test_what_lessons_avoid(pattern, what, notebook):
    for cell in of_kind(notebook, "code"):
        assert not re.search(pattern, cell.source, re.MULTILINE), f"{what} in:\n{cell.source}"


# The storing script itself.


def a_notebook(*cells):
    return nbformat.v4.new_notebook(cells=list(cells), metadata={"widgets": {"state": {}}})


def test_normal_form_keeps_what_is_compared_and_drops_what_changes():
    cell = nbformat.v4.new_code_cell(
        "1 + 1  \n\n",
        execution_count=17,
        metadata={"execution": {"iopub.execute_input": "2026"}, "tags": ["raises-exception"]},
        outputs=[
            nbformat.v4.new_output("stream", name="stdout", text="one\n"),
            nbformat.v4.new_output("stream", name="stdout", text="at 0x7f001122aabb\n"),
            nbformat.v4.new_output(
                "display_data", data={"image/png": "AAAA", "text/plain": "<Figure>"}
            ),
            nbformat.v4.new_output(
                "execute_result",
                data={
                    "text/plain": "Label(value='a')",
                    "application/vnd.jupyter.widget-view+json": {"model_id": "f00"},
                },
                execution_count=17,
            ),
            nbformat.v4.new_output(
                "error", ename="ValueError", evalue="no", traceback=["\x1b[31m/home/me/x.py"]
            ),
        ],
    )
    before = a_notebook(nbformat.v4.new_markdown_cell("# One"), cell)
    kept = normal_form(before)
    assert kept.metadata == {"kernelspec": KERNEL, "language_info": {"name": "python"}}
    one = kept.cells[1]
    assert (one.source, one.execution_count) == ("1 + 1", 1)
    assert one.metadata == {"tags": ["raises-exception"]} and one.id == cell.id
    assert one.outputs == [
        {"output_type": "stream", "name": "stdout", "text": "one\nat 0xADDRESS\n"},
        {"output_type": "display_data", "data": {"text/plain": "<Figure>"}, "metadata": {}},
        {
            "output_type": "execute_result",
            "data": {"text/plain": "Label(value='a')"},
            "metadata": {},
            "execution_count": 1,
        },
        {
            "output_type": "error",
            "ename": "ValueError",
            "evalue": "no",
            "traceback": ["ValueError: no"],
        },
    ]
    # The one given is left alone, and a second time changes nothing.
    assert before.cells[1].execution_count == 17
    again = nbformat.reads(stored_text(before), as_version=4)
    assert stored_text(again) == stored_text(before)


def test_storing_and_checking_a_notebook(tmp_path, capsys):
    from tests.notebooks import main

    file = tmp_path / "01_try.ipynb"
    cells = [nbformat.v4.new_code_cell(text) for text in ("a = 2", "print(a + 1)")]
    nbformat.write(a_notebook(*cells), file)
    assert main(["--check", str(file)]) == 1
    assert "execution_count" in capsys.readouterr().out
    assert main([str(file)]) == 0
    stored = file.read_text(encoding="utf-8")
    assert main(["--check", str(file)]) == 0
    # A wrong output is found, and a failing cell leaves the file as it was.
    file.write_text(stored.replace('"3\\n"', '"4\\n"'), encoding="utf-8")
    assert main(["--check", str(file)]) == 1
    file.write_text(stored.replace("a + 1", "a / 0"), encoding="utf-8")
    assert main([str(file)]) == 1
    assert "ZeroDivisionError" in capsys.readouterr().out
    assert Path(file).read_text(encoding="utf-8") == stored.replace("a + 1", "a / 0")
