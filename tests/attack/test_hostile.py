"""A hostile scenario through every public output, judged as text; the browser's part is in tests/browser."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.shown_text import ShownTable, facts_html, html_text, one_line
from tests.attack.hostile import FORGED, PAYLOADS, TERMINAL, write_folder
from tests.attack.judge import chart_faults, csv_faults, html_faults, judge, plain_faults
from tests.attack.outputs import Attack

_PICTURE = b64encode(b"<svg><script>x</script></svg>").decode().join(
    ("<img src='data:image/svg+xml;base64,", "'>"))
TURNED = 7
"""The command puts payload 1 first; here other payloads meet other fields."""


def test_nothing_gets_through(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, PAYLOADS[TURNED:] + PAYLOADS[:TURNED])
    counts = judge(Attack(folder, tmp_path))
    assert counts.faults == []
    assert counts.judged["html"] > 300, "the walk did go through the tables"
    assert {".csv", ".xlsx", ".pdf", ".html", ".txt", "chart", "plain", "line"} <= set(counts.judged)


@pytest.mark.parametrize("page", [
    "<p><img src=x></p>", "<p onclick=x>a</p>", "<p>$x^2$</p>", r"<td>\(x\)</td>",
    _PICTURE,
    "<a href='javascript:x'>a</a>", "<script>x</script>", "<p>a\u202eb</p>", "<style>@import 'x'</style>",
    pd.DataFrame({"text": ["from $x$ to $y$"]})._repr_html_()])
def test_the_judge_of_pages_sees_what_gets_through(page: str) -> None:
    assert list(html_faults(page))


def test_the_other_judges_see_it_too(tmp_path: Path) -> None:
    assert list(plain_faults(f"one\n  {FORGED}: two"))
    assert list(plain_faults("\x1b[31mred"))
    assert list(chart_faults({"layout": {"title": {"text": "<img src=x>"}}}))
    assert list(chart_faults({"data": [{"text": ["$x$"]}]}))
    (tmp_path / "a.csv").write_text("a,=1+1\n", encoding="utf-8")
    assert list(csv_faults(tmp_path / "a.csv"))


@pytest.mark.parametrize("typed", [*PAYLOADS, TERMINAL])
def test_every_form_of_a_text_is_harmless_and_says_what_was_typed(typed: str) -> None:
    table = ShownTable({typed: [typed]}, index=[typed])
    for page in (html_text(typed), facts_html(typed, [(typed, typed)]), table._repr_html_(), table.to_html(),
                 table.style.to_html(), table[[typed]].T._repr_html_(), table.groupby(typed).size().to_frame()
                 .pipe(ShownTable)._repr_html_()):
        assert list(html_faults(page)) == []
    assert list(plain_faults(repr(table))) == []
    assert list(plain_faults(one_line(typed))) == []
    fault = pk.ScenarioError.single(typed, table=typed, column=typed, value=typed)
    assert list(plain_faults(str(fault))) == []
    assert len(str(fault).splitlines()) == 2
    assert "\n" not in fault.words


def test_harmless_text_is_shown_as_it_is() -> None:
    cells = {"text": ["Füße & <Hände>", "中文"], "number": [1.5, None]}
    page = ShownTable(cells)._repr_html_()
    for shown in (">Füße &amp; &lt;Hände&gt;</td>", ">中文</td>", ">1.50</td>", ">–</td>"):
        assert shown in page


def test_tables_of_public_functions_stay_safe_when_worked_with(small: pk.Scenario) -> None:
    steps = small.steps
    for table in (steps, steps.head(2), steps[["step", "title"]], steps.sort_values("step"),
                  steps.merge(small.tasks, on="task"), steps.groupby("task").first(),
                  steps.set_index("step").T):
        assert isinstance(table, ShownTable)
