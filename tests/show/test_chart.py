import plotly.io as pio
from IPython.core.formatters import DisplayFormatter

from planning_kit.show.chart import CHART_CONFIG, PLOTLY_MIME, Chart


def make_chart():
    return Chart(data=[{"type": "bar", "x": [1], "y": [2]}], layout={"meta": {"alt": "One bar."}})


def test_the_notebook_output_holds_chart_mode_bar_and_words():
    bundle = make_chart()._repr_mimebundle_()
    assert set(bundle) == {PLOTLY_MIME, "text/plain"}
    assert bundle["text/plain"] == "One bar."
    assert bundle[PLOTLY_MIME]["data"][0]["x"] == [1]
    config = bundle[PLOTLY_MIME]["config"]
    assert config["displaylogo"] is False
    assert "sendChartToCloud" in config["modeBarButtonsToRemove"]


def test_jupyter_saves_the_bundle_and_nothing_else():
    bundle, _ = DisplayFormatter().format(make_chart())
    assert bundle == make_chart()._repr_mimebundle_()


def test_show_uses_the_same_mode_bar_unless_told_otherwise(monkeypatch):
    asked = []
    monkeypatch.setattr(pio, "show", lambda figure, *args, **kwargs: asked.append(kwargs["config"]))
    make_chart().show()
    make_chart().show(config={"scrollZoom": True})
    assert asked == [CHART_CONFIG, {"scrollZoom": True}]


def test_a_chart_without_words_still_has_some():
    assert Chart()._repr_mimebundle_()["text/plain"] == "Chart"


def test_a_changed_chart_is_still_one():
    assert isinstance(make_chart().update_layout(height=300), Chart)
