"""Every lesson in a real JupyterLab, in a real browser.

Skipped where there is no Chromium; with CI=true it fails there instead.
"""

import pytest

from tests.notebooks import lessons

LESSONS = [path.name for path in lessons()]


@pytest.mark.parametrize("name", LESSONS)
def test_lesson_runs_as_a_reader_meets_it(name, workplace, pictures):
    with workplace.open(name) as notebook:
        notebook.run_all()
        notebook.screens(pictures, f"{name.removesuffix('.ipynb')}-light")
        assert notebook.errors() == []
        assert notebook.console == []
        assert notebook.away == [], "the page asked other machines"
        assert notebook.clipped() == []
        assert notebook.too_high(600) == []
        notebook.set_theme("dark")
        notebook.screens(pictures, f"{name.removesuffix('.ipynb')}-dark")
        assert notebook.console == []


def test_a_failing_cell_is_seen(workplace):
    """The checks above can fail: an error below the screen is found, and a cell not run."""
    import nbformat
    from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

    cells = [
        new_code_cell("print('one')"),
        *[new_markdown_cell("text\n\n" * 40) for _ in range(5)],
        new_code_cell("1 / 0"),
        new_code_cell("print('never')"),
    ]
    kernel = {"name": "python3", "display_name": "Python 3"}
    broken = new_notebook(cells=cells, metadata={"kernelspec": kernel})
    nbformat.write(broken, workplace.folder / "broken.ipynb")
    with workplace.open("broken.ipynb") as notebook:
        with pytest.raises(RuntimeError, match=r"not run: \[7\].*cell=6.*ZeroDivisionError"):
            notebook.run_all()
        assert [error.cell for error in notebook.errors()] == [6]


def test_the_lab_is_told_to_stay_at_home(workplace):
    assert workplace.ask("/lab/api/news") == b'{"news": []}'
    assert workplace.ask("/lab/api/update") == b'{"notification": null}'
