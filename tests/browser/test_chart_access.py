"""The workbench's chart by axe-core, alone in a page: every bar has a name, and nothing is wrong."""

from __future__ import annotations

import json

import pytest
from axe_playwright_python.sync_playwright import Axe

from planning_kit.desk.assets import style_text
from planning_kit.show.live_chart import themes
from tests.browser.test_scripts_in_a_browser import SITE, serve

OPEN = """async ([theme, css, themes]) => {
    const { PlanChart } = await import("/static/chart.js");
    const { sampleChart } = await import("/tests/sample.js");
    document.documentElement.lang = "en";
    const style = document.createElement("style");
    style.textContent = css;
    document.head.append(style);
    const root = document.createElement("main");
    root.className = "pk-workbench";
    root.dataset.theme = theme;
    const chart = new PlanChart(root, () => {}, { onChoose() {} });
    const heading = document.createElement("h1");
    heading.textContent = "Chart";
    root.append(heading, chart.box);
    document.body.append(root);
    chart.load(sampleChart(), JSON.parse(themes));
    const findings = [{ severity: "stop", minute: 10, lanes: ["EV1"], message: "Too dark.", step: "A1" }];
    chart.tell({ findings, tight: ["A1"], hovers: [], ghost_hovers: [] });
    chart.legend.open(true);
    chart.choose("A1");
}"""


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_in_the_chart(page, theme):
    page.route(f"{SITE}/**", serve)
    page.goto(f"{SITE}/")
    page.evaluate(OPEN, [theme, style_text(), json.dumps(themes())])
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.get_by_role("listbox", name="Plan").get_by_role("option").count() == 6
    told = "A1 Open the lid, EV1, PET 0:00 to 0:20. stop: Too dark."
    assert page.get_by_role("option", name=told).count() == 1
    looked = {each["id"] for each in found.response["passes"]}
    assert {"aria-required-children", "aria-input-field-name"} <= looked, "axe did look at the list"
