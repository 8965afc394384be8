"""A saved notebook as one HTML page that needs no network: charts drawn by a plotly.js inside the page.

nbconvert's own page fetches scripts from elsewhere, and shows plotly charts and widgets only with them.
"""

import html
import os
import re
from copy import deepcopy
from pathlib import Path
from typing import Any

import nbformat
from nbconvert import HTMLExporter
from nbformat import NotebookNode
from plotly.io import to_html
from plotly.offline import get_plotlyjs

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.save import save_files
from planning_kit.show.chart import CHART_CONFIG, PLOTLY_MIME

_WIDGET_MIMES = ("application/vnd.jupyter.widget-view+json", "application/vnd.jupyter.widget-state+json")
_NO_ADDRESSES = (
    "require_js_url", "mathjax_url", "mermaid_js_url", "mermaid_layout_elk_js_url", "jquery_url",
    "jupyter_widgets_base_url", "widget_renderer_url", "html_manager_semver_range",
)
_EMPTY_SCRIPT = re.compile(r'<script[^>]*\bsrc=""[^>]*>\s*</script>')
_REMOTE_IMAGE = re.compile(r'(<img\b[^>]*?)\ssrc="(?:https?:)?//[^"]*"')
# The reader's browser enforces what the exporter promises, whatever a notebook's text asks for.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; font-src data:; base-uri 'none'; form-action 'none'"
)
# On paper a chart gets a width that fits a landscape sheet (A4 or letter), whatever the window's was, and no
# sheet cuts it in two. Plotly draws in pixels: the width is set by drawing anew, the rest by zooming.
_PRINT_WIDTH_PX = 1120
_PRINT_STYLE = """<style>@media print {
  @page { size: landscape; margin: 10mm; }
  .plotly-graph-div { zoom: 0.78; }
  .jp-OutputArea-child, .jp-OutputArea-output { break-inside: avoid; overflow: visible !important; }
}</style>"""
_PRINT_SCRIPT = f"""<script>(function () {{
  function redraw(size) {{
    document.querySelectorAll('.js-plotly-plot').forEach(chart => Plotly.relayout(chart, size));
  }}
  window.addEventListener('beforeprint', function () {{ redraw({{width: {_PRINT_WIDTH_PX}}}); }});
  window.addEventListener('afterprint', function () {{ redraw({{width: null, autosize: true}}); }});
}})();</script>"""


def _draw_charts(notebook: NotebookNode) -> None:
    """Replace plotly's JSON by HTML that draws it, and drop widget views, which need a running kernel."""
    notebook.metadata.pop("widgets", None)
    number = 0
    for data in (output.get("data", {}) for cell in notebook.cells for output in cell.get("outputs", [])):
        for mime in _WIDGET_MIMES:
            data.pop(mime, None)
        if PLOTLY_MIME in data:
            number += 1
            data["text/html"] = _drawn(data.pop(PLOTLY_MIME), f"chart-{number}", data.get("text/plain", ""))


def _drawn(figure: dict[str, Any], div_id: str, alt: str) -> str:
    """One chart; the ids are fixed, so that the same notebook gives the same page."""
    content = {"data": figure["data"], "layout": figure["layout"], "frames": figure.get("frames", [])}
    drawing = to_html(content, full_html=False, include_plotlyjs=False, config=CHART_CONFIG, div_id=div_id,
                      include_mathjax=False, validate=False, auto_play=False)
    role = "group" if content["frames"] else "img"  # what is in a picture cannot be pressed
    return f'<div role="{role}" aria-label="{html.escape(alt, quote=True)}">{drawing}</div>'


def notebook_html(notebook: NotebookNode, title: str) -> str:
    """``notebook`` (nbformat 4) as the text of one HTML page; ``title`` is shown in the browser's tab."""
    exporter = HTMLExporter(embed_images=True)
    for name in _NO_ADDRESSES:
        if exporter.has_trait(name):
            setattr(exporter, name, "")
    notebook = deepcopy(notebook)
    _draw_charts(notebook)
    body, _ = exporter.from_notebook_node(notebook, resources={"metadata": {"name": title}})
    return _with_plotly(_REMOTE_IMAGE.sub(r"\1", _EMPTY_SCRIPT.sub("", body)))


def _with_plotly(page: str) -> str:
    policy = f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
    drawing = f"<script>{get_plotlyjs()}</script>{_PRINT_STYLE}{_PRINT_SCRIPT}"
    script = drawing if "Plotly.newPlot" in page else ""
    head = re.search(r"<head[^>]*>", page)
    if head is None:
        return page
    charset = re.search(r"<meta charset[^>]*>", page)
    end = charset.end() if charset else head.end()
    return page[:end] + policy + script + page[end:]


def write_notebook_html(notebook_path: str | os.PathLike[str], html_path: str | os.PathLike[str]) -> Path:
    """Write a saved notebook with its outputs as one HTML page, and return where it is.

    Nothing is executed. The page asks for nothing outside itself: charts are drawn by a plotly.js inside it,
    widget views give way to the static output saved beside them, formulas stay as typed, pictures from
    elsewhere are left out. Printed, each chart fits a landscape sheet. Raises `ScenarioError` where the
    notebook cannot be read or the page cannot be written.
    """
    source, target = Path(notebook_path), Path(html_path)
    try:
        notebook = nbformat.read(source, as_version=4)
    except (OSError, ValueError, nbformat.reader.NotJSONError, nbformat.ValidationError) as fault:
        problem = f"cannot be read as a notebook; give the path of an .ipynb file ({type(fault).__name__})"
        raise ScenarioError.single(problem, column="notebook_path", value=str(source)) from None
    page = notebook_html(notebook, source.stem).encode()
    save_files(target.parent, {target.name: page}, known=None)
    return target
