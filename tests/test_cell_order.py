"""Every lesson runs in any order of its cells, and each cell runs twice."""

import random
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

LESSONS = sorted((Path(__file__).parents[1] / "lessons").glob("*.ipynb"))


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_cells_run_in_any_order_and_twice(path):
    notebook = nbformat.read(path, as_version=4)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    expected = {cell.id: bool(set(cell.metadata.get("tags", ())) & {"raises-exception"})
                for cell in cells}
    draw = random.Random(path.stem)
    order = [*draw.sample(cells, len(cells)), *draw.sample(cells, len(cells))]
    notebook.cells = [nbformat.v4.new_code_cell(cell.source) for cell in order]
    client = NotebookClient(notebook, timeout=120, kernel_name="python3", allow_errors=True,
                            resources={"metadata": {"path": str(path.parent)}})
    client.execute()
    for cell, ran in zip(order, notebook.cells, strict=True):
        failed = [output.evalue for output in ran.outputs if output.output_type == "error"]
        assert bool(failed) == expected[cell.id], (cell.source, failed)
