"""What got through, judged as text: markup, mathematics, formulas, links and forged lines in every output.

Each form of an output is read by a reader that we did not write, and is allowed what our own outputs need.
"""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
import zipfile
from base64 import b64decode
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import html5lib
import openpyxl
import pandas as pd
import pypdf
from IPython.core.formatters import DisplayFormatter

import planning_kit as pk
from planning_kit.desk.workbench import Workbench
from planning_kit.show.chart import PLOTLY_MIME, Chart
from planning_kit.show.film.film_page import film_file
from tests.attack.hostile import FORGED, FREE_NAME
from tests.attack.outputs import Attack, Output

_ALL_SHOWN = ("display.width", 100_000, "display.max_columns", None, "display.max_colwidth", None,
              "display.max_rows", None)
_TAGS = {"html", "head", "body", "table", "caption", "thead", "tbody", "tr", "th", "td", "p", "strong", "ul",
         "li", "h3", "h4", "div", "span", "style", "meta", "title", "h1", "h2", "nav", "section", "main",
         "header", "footer", "figure", "figcaption", "svg", "rect", "text", "polyline", "polygon", "circle",
         "path", "a", "small", "dl", "dt", "dd", "ol", "b", "br", "tfoot", "col", "colgroup",
         "img", "tspan",
         "na"}  # a Styler writes <NA> for what is not given
_ATTRIBUTES_THAT_ACT = ("on", "src", "action", "formaction", "background", "xlink")
_PICTURE = "data:image/svg+xml;base64,"
_CHART_TAGS = re.compile(r"</?b>|<br>|</?i>|<span style=\"[\w:;#.,() -]*\">|</span>")
_FILLED_IN = ("hovertemplate", "texttemplate", "labelalias")
_RAW_BY_CONTRACT = re.compile(r"plan\.name$")  # what the caller named it, given back


@dataclass
class Counts:
    """How much was judged, and what got through."""

    judged: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        told = ", ".join(f"{count} {kind}" for kind, count in sorted(self.judged.items()))
        return f"{told}; {len(self.faults)} got through"

    def add(self, kind: str, where: str, faults: Iterable[str]) -> None:
        self.judged[kind] = self.judged.get(kind, 0) + 1
        self.faults += [f"{where} ({kind}): {fault}"[:300] for fault in faults]


def judge(attack: Attack) -> Counts:
    """Judge every output, and every file that was written meanwhile."""
    counts = Counts()
    for output in attack.outputs():
        for kind, form in forms(output):
            counts.add(kind, output.where, _JUDGES[kind](form))
    counts.add("refusals", "refused", attack.uncaught)
    attack.scenario.save(attack.above / "saved")
    for path in sorted(attack.above.rglob("*")):
        if path.is_file() and ".git" not in path.parts and path.suffix.lower() in _FILE_JUDGES:
            if "spoiled" in str(path) or "elsewhere" in str(path) or path.parent == attack.folder:
                continue  # written by us
            kind = path.suffix.lower()
            counts.add(kind, path.name, _FILE_JUDGES[kind](path))
    return counts


def forms(output: Output) -> Iterator[tuple[str, Any]]:
    """The forms in which a notebook, a terminal or a saved page shows an output."""
    thing = output.thing
    if isinstance(thing, pk.ScenarioError):
        yield "plain", str(thing)
        yield "plain", "\n".join(thing._render_traceback_())
        yield "line", thing.words
        thing = thing.problems
    if isinstance(thing, str):
        if not _RAW_BY_CONTRACT.search(output.where):
            yield "plain", thing
    elif isinstance(thing, Chart):
        bundle = thing._repr_mimebundle_()
        yield "chart", bundle[PLOTLY_MIME]
        yield "line", bundle["text/plain"]
    elif isinstance(thing, Workbench):
        yield from (("plain", thing._snapshot.chart()["text/plain"]),
                    ("plain", thing._snapshot.tables()["text/plain"]),
                    ("html", thing._snapshot.tables()["text/html"]))
    else:
        with pd.option_context(*_ALL_SHOWN):
            data = DisplayFormatter().format(thing)[0]
        assert set(data) <= {"text/plain", "text/html"}, (output.where, set(data))
        yield "plain", data["text/plain"]
        if "text/html" in data:
            yield "html", data["text/html"]
        if isinstance(thing, pd.DataFrame):
            yield "html", thing.head(12).style.to_html()
            yield "html", thing.head(12).to_html()


def character_faults(text: str) -> Iterator[str]:
    """Characters that steer a terminal, break a line or turn the writing."""
    for char in sorted(set(text) - {"\n"}):
        kind = unicodedata.category(char)
        if kind in ("Cc", "Cs", "Zl", "Zp") or (kind == "Cf" and char not in "\u200c\u200d"):
            yield f"holds U+{ord(char):04X}: {text[max(0, text.index(char) - 40):][:80]!r}"


def plain_faults(text: str) -> Iterator[str]:
    """As `character_faults`, and lines that a text of the scenario began."""
    yield from character_faults(text)
    for line in text.splitlines():
        if line.strip(" |'\"").startswith(FORGED):
            yield f"a line begins {line[:60]!r}"


def line_faults(text: str) -> Iterator[str]:
    """As `plain_faults`, and there is one line only."""
    yield from plain_faults(text)
    if "\n" in text:
        yield f"has several lines: {text[:80]!r}"


def html_faults(page: str) -> Iterator[str]:
    """Elements and attributes that are not ours, addresses, and marks with which MathJax begins."""
    tree = html5lib.parse(page, namespaceHTMLElements=False)
    for element in tree.iter():
        tag = element.tag.rpartition("}")[2] if isinstance(element.tag, str) else "comment"
        if tag not in _TAGS:
            yield f"holds <{tag}>"
        for name, value in element.attrib.items():
            if tag == "img" and name == "src" and value.startswith(_PICTURE):  # runs and fetches nothing
                yield from html_faults(b64decode(value.removeprefix(_PICTURE)).decode())
            elif str(name).lower().startswith(_ATTRIBUTES_THAT_ACT):
                yield f"<{tag}> has {name}"
            if name == "href" and not value.startswith("#"):
                yield f"leads to {value}"
        if tag == "style" and re.search(r"@import|url\(", element.text or ""):
            yield "a style sheet asks for something"
        texts = () if tag == "style" else (element.text, *(child.tail for child in element))
        yield from (f"is typeset: {text[:80]!r}" for text in texts
                    if text and len(text) > 1 and set(text) & set("$\\"))
        yield from (fault for text in texts if text for fault in character_faults(text))


def chart_faults(spec: Mapping[str, Any]) -> Iterator[str]:
    """Markup in any text of a chart but our own, TeX, and fields that are filled in."""
    for key, text in _strings(spec):
        rest = _CHART_TAGS.sub("", text)
        if "<" in rest or ">" in rest:
            yield f"{key} holds markup: {text[:80]!r}"
        if "$" in text:
            yield f"{key} is typeset: {text[:80]!r}"
        if key in _FILLED_IN and ("meta" in text or FREE_NAME in text):
            yield f"{key} is filled in: {text[:80]!r}"
        if key != "alt":
            yield from plain_faults(text)


def _strings(value: Any, key: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        if key != "alt" and not key.endswith("src"):  # alternative text is plain text
            yield key, value
    elif isinstance(value, Mapping):
        for name, each in value.items():
            yield from _strings(each, str(name))
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _strings(each, key)


def csv_faults(path: Path) -> Iterator[str]:
    """Cells that a spreadsheet computes: those that begin with one of ``=+-@`` and are no number."""
    for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")):
        for cell in row:
            if cell.lstrip()[:1] in tuple("=+-@＝＋－＠") and not re.fullmatch(r"[+-][\d.]+", cell):
                yield f"computes {cell[:60]!r}"


def xlsx_faults(path: Path) -> Iterator[str]:
    """Cells that are computed, links, macros, and what lies elsewhere."""
    for sheet in openpyxl.load_workbook(path):
        cells = [cell for row in sheet.iter_rows() for cell in row]
        yield from (f"computes {cell.value!r}" for cell in cells if cell.data_type == "f")
        yield from (f"links {cell.hyperlink.ref}" for cell in cells if cell.hyperlink)
        texts = [cell.value for cell in cells if isinstance(cell.value, str)]
        yield from (fault for text in texts for fault in character_faults(text))
    with zipfile.ZipFile(path) as parts:
        yield from (f"holds {name}" for name in parts.namelist()
                    if re.search("externalLink|vba|hyperlink|drawing", name, re.IGNORECASE))
        yield from (f"{name} computes" for name in parts.namelist()
                    if name.startswith("xl/worksheets/sheet") and b"<f>" in parts.read(name))


def pdf_faults(path: Path) -> Iterator[str]:
    """Links, actions, scripts, forms and attached files."""
    reader = pypdf.PdfReader(path)
    acting = {"/OpenAction", "/AA", "/Names", "/AcroForm"} & set(reader.trailer["/Root"].keys())
    yield from (f"acts by {name}" for name in acting)
    yield from (f"page {number} has annotations" for number, page in enumerate(reader.pages, 1)
                if "/Annots" in page)
    yield from (f"holds {name}" for name in ("/URI", "/JavaScript", "/Launch", "/EmbeddedFile")
                if name.encode() in path.read_bytes())


def page_faults(path: Path) -> Iterator[str]:
    """A page of its own is never typeset: it holds no script, and says so to the browser.

    That of a film has ours, to the letter, and its data, in which no sign begins or ends an element.
    """
    page = path.read_text(encoding="utf-8")
    page = page.replace(f'<script type="module">{film_file("film.bundle.js")}</script>', "")
    page = re.sub(r'<script type="application/json" id="film-scene">[^<>]*</script>', "", page)
    yield from (fault for fault in html_faults(page) if "is typeset" not in fault)
    if "default-src 'none'" not in page:
        yield "the browser is not told to run nothing"


def text_faults(path: Path) -> Iterator[str]:
    """A file of lines."""
    yield from plain_faults(path.read_text(encoding="utf-8"))


def manifest_faults(path: Path) -> Iterator[str]:
    """A list of files that can be read."""
    yield from () if isinstance(json.loads(path.read_text(encoding="utf-8")), dict) else ("is no list",)


_JUDGES = {"plain": plain_faults, "line": line_faults, "html": html_faults, "chart": chart_faults}
_FILE_JUDGES = {".csv": csv_faults, ".xlsx": xlsx_faults, ".pdf": pdf_faults, ".html": page_faults,
                ".txt": text_faults, ".json": manifest_faults}
