"""The hostile scenario in JupyterLab, in the exported notebook and as a review page."""

from __future__ import annotations

from tests.attack.in_a_browser import look_in_a_browser


def test_nothing_is_executed_typeset_or_asked_for(browser, tmp_path):
    seen = look_in_a_browser(tmp_path, browser)
    assert not seen.got_through, str(seen)
    assert seen.outputs > 150, "the notebook did show them"
    assert seen.hovers > 100, "the charts did answer the pointer"
