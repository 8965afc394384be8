import re

import nbformat
import pytest
from nbformat import v4
from plotly.offline import get_plotlyjs

import planning_kit as pk
from planning_kit.show.offline_html import write_notebook_html
from planning_kit.show.swimlane import swimlane


@pytest.fixture
def notebook_path(plan, tmp_path):
    bundle = swimlane(plan)._repr_mimebundle_()
    view = {"model_id": "m", "version_major": 2, "version_minor": 0}
    widget = {"application/vnd.jupyter.widget-view+json": view, "text/plain": "a widget, in words"}
    outputs = [v4.new_output("execute_result", data, execution_count=1) for data in (bundle, bundle, widget)]
    cells = [v4.new_markdown_cell("# Title ![far](https://example.invalid/a.png) $a^2$", id="a"),
             v4.new_code_cell("pk.swimlane(plan)", outputs=outputs, id="b")]
    state = {"widgets": {"application/vnd.jupyter.widget-state+json": {}}}
    notebook = v4.new_notebook(cells=cells, metadata=state)
    path = tmp_path / "review.ipynb"
    nbformat.write(notebook, path)
    return path


@pytest.fixture
def page(notebook_path, tmp_path):
    return write_notebook_html(notebook_path, tmp_path / "review.html").read_text(encoding="utf-8")


def test_the_page_holds_plotly_once_and_each_chart_under_a_fixed_id(page):
    assert page.count(get_plotlyjs()[:2000]) == 1
    assert re.findall(r'<div [^>]*\bid="(chart-\d+)"', page) == ["chart-1", "chart-2"]


def test_no_element_of_the_page_asks_for_anything_elsewhere(page):
    own = page.replace(get_plotlyjs(), "")
    asking = r'<(?:script|link|img|iframe|object|embed)\b[^>]*(?:src|href|data)="(?!data:)[^"]+"'
    assert not re.findall(asking, own)
    assert not re.findall(r"url\(['\"]?(?:https?:)?//", own)
    assert "Content-Security-Policy" in own
    assert "default-src 'none'" in own


def test_widgets_give_way_to_words_and_charts_have_an_alternative(page):
    assert "widget-view" not in page.replace(get_plotlyjs(), "")
    assert "a widget, in words" in page
    assert 'aria-label="Swimlane chart: ' in page


def test_the_same_notebook_gives_the_same_page(notebook_path, tmp_path, page):
    assert write_notebook_html(notebook_path, tmp_path / "again.html").read_text(encoding="utf-8") == page


def test_the_notebook_itself_is_left_as_it_was(notebook_path, tmp_path):
    before = notebook_path.read_bytes()
    write_notebook_html(notebook_path, tmp_path / "out.html")
    assert notebook_path.read_bytes() == before


def test_scenario_text_cannot_close_the_script_that_draws_it(plan, tmp_path):
    plan.scenario.records.settings.title = "</script><script>alert(1)</script>"
    bundle = swimlane(plan)._repr_mimebundle_()
    cell = v4.new_code_cell("x", outputs=[v4.new_output("execute_result", bundle, execution_count=1)], id="a")
    nbformat.write(v4.new_notebook(cells=[cell]), tmp_path / "n.ipynb")
    page = write_notebook_html(tmp_path / "n.ipynb", tmp_path / "n.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in page


@pytest.mark.parametrize("content", [None, "{not json", '{"a": 1}'])
def test_what_is_no_notebook_is_refused_in_words(tmp_path, content):
    path = tmp_path / "x.ipynb"
    if content is not None:
        path.write_text(content)
    with pytest.raises(pk.ScenarioError, match=r"give the path of an .ipynb file"):
        write_notebook_html(path, tmp_path / "x.html")
