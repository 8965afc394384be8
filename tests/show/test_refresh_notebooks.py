"""The command that runs notebooks afresh: what it keeps, what it drops, and what it refuses to write."""

import importlib.util
from importlib.machinery import SourceFileLoader
from pathlib import Path

import nbformat
import pytest
from nbformat import v4

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def command():
    loader = SourceFileLoader("refresh_notebooks", str(ROOT / ".ci" / "refresh-notebooks"))
    module = importlib.util.module_from_spec(importlib.util.spec_from_loader(loader.name, loader))
    loader.exec_module(module)
    return module


def write(path, *sources):
    cells = [v4.new_code_cell(source) for source in sources]
    cells[0].metadata["execution"] = {"iopub.execute_input": "2031-01-01T00:00:00Z"}
    notebook = v4.new_notebook(cells=cells, metadata={"title": "Kept", "widgets": {"state": {}}})
    nbformat.write(notebook, path)
    return path


def test_a_second_run_changes_nothing(command, tmp_path):
    path = write(tmp_path / "n.ipynb", "x = 20\nprint('a')\nprint('b')", "x + 1")
    assert command.main([str(path)]) == 0
    first = path.read_bytes()
    notebook = nbformat.read(path, as_version=4)
    assert notebook.cells[0].outputs[0].text == "a\nb\n"
    assert notebook.cells[1].outputs[0].data["text/plain"] == "21"
    assert set(notebook.metadata) == {"title", "kernelspec", "language_info"}
    assert "version" not in notebook.metadata.language_info
    assert "execution" not in notebook.cells[0].metadata
    assert command.main([str(path)]) == 0
    assert path.read_bytes() == first


@pytest.mark.parametrize("source", ["1 / 0", "import warnings; warnings.warn('careful')"])
def test_a_notebook_that_fails_or_warns_is_left_as_it_was(command, tmp_path, capsys, source):
    path = write(tmp_path / "n.ipynb", source)
    before = path.read_bytes()
    assert command.main([str(path)]) == 1
    assert path.read_bytes() == before
    assert str(path) in capsys.readouterr().err


def test_cells_without_an_id_get_one_that_stays(command):
    cells = [v4.new_code_cell("1"), v4.new_code_cell("2"), v4.new_code_cell("3")]
    del cells[0]["id"]
    cells[2]["id"] = cells[1].id
    notebook = v4.new_notebook()
    notebook.cells = cells
    command.clear(notebook)
    ids = [cell.id for cell in notebook.cells]
    assert ids == ["cell-1", cells[1].id, "cell-3"]
