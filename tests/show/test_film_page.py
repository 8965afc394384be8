"""The film's page: small, of one piece, no text of a scenario is markup, no file of others is replaced."""

from __future__ import annotations

import json
import re

import pytest

import planning_kit as pk
from planning_kit.show.film import __main__ as command
from planning_kit.show.film.film_page import as_json, film_file, film_page
from tests.conftest import SCENARIOS

MOST_BYTES = 1_200_000
HOSTILE = '</script><script>window.hurt = true</script><!-- <img src=x onerror="window.hurt = true"> & \u2028'


def scene_in(page):
    (data,) = re.findall(r'<script type="application/json" id="film-scene">(.*?)</script>', page)
    return json.loads(data)["scene"]


def test_the_page_of_the_demo_is_small_and_asks_for_nothing(tmp_path):
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))
    page = plan.film(tmp_path / "film.html").read_text(encoding="utf-8")
    assert len(page.encode()) < MOST_BYTES
    assert "default-src 'none'" in page
    assert not re.search(r'(?:src|href)="?(?:https?:)?//', page.replace(film_file("film.bundle.js"), ""))
    assert scene_in(page)["end_min"] == pytest.approx(plan.end_min, abs=1e-5)


def test_text_of_a_scenario_ends_no_script(small_plan):
    titled = pk.time_plan(small_plan.scenario.with_settings({"title": HOSTILE[:70]}))
    scene = scene_in(film_page({"title": HOSTILE, "shots": []}))
    assert scene["title"] == HOSTILE
    assert "</script" not in as_json(HOSTILE)
    assert film_page({"title": HOSTILE}).count("</script>") == film_page({"title": ""}).count("</script>")
    assert titled.film is not None


def test_a_film_is_replaced_by_a_film_and_nothing_else_is(small_plan, tmp_path):
    file = tmp_path / "walk.html"
    assert small_plan.film(file) == small_plan.film(str(file)) == file
    other = tmp_path / "notes.html"
    other.write_text("mine", encoding="utf-8")
    for bad in (other, tmp_path / "film.txt", tmp_path / "none" / "film.html", 3, ""):
        with pytest.raises(pk.ScenarioError):
            small_plan.film(bad)
    assert other.read_text(encoding="utf-8") == "mine"


def test_two_pages_of_one_plan_are_the_same(small_plan, tmp_path):
    one, two = (small_plan.film(tmp_path / name).read_bytes() for name in ("a.html", "b.html"))
    assert one == two


def test_a_view_follows_another_plan_and_goes_to_a_step(small_plan):
    view = small_plan.film()
    view.go("B3")
    assert view.minute == pytest.approx(small_plan.timed.starts[small_plan.timed.position("B3")], abs=1e-5)
    said: list[object] = []
    view.send = said.append  # somebody moved the film by hand, which a kernel does not hear of
    view.go("B3")
    assert said == [{"kind": "go"}]
    view.go("B2")
    assert len(said) == 1, "a change is heard by itself"
    later = small_plan.what_if(stretch={"B2": "+5"})
    view.follow(later)
    assert view.scene["end_min"] == pytest.approx(later.end_min, abs=1e-5)
    assert len(repr(view)) < 120
    for bad in ("NONE", None):
        with pytest.raises(pk.ScenarioError):
            view.go(bad)
    with pytest.raises(pk.ScenarioError):
        view.follow("a plan")


def test_the_command_says_what_it_needs(monkeypatch, capsys):
    def missing(*_given):
        raise ImportError("none here")

    monkeypatch.setattr(command, "_made", missing)
    assert command.main([str(SCENARIOS / "small-outing")]) == 2
    assert "playwright install chromium" in capsys.readouterr().err
    assert command.main(["no such folder"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_step_asked_for_before_it_is_in_the_film_is_gone_to_when_it_is(small_plan):
    view = small_plan.what_if(drop="B2").film()
    with pytest.raises(pk.ScenarioError):
        view.go("B2")
    view.follow(small_plan)
    start = small_plan.timed.starts[small_plan.timed.position("B2")]
    assert view.minute == pytest.approx(start, abs=1e-5)
    view.minute = 1.0
    view.follow(small_plan.what_if(stretch={"B2": "+5"}))
    assert view.minute == 1.0, "once"
