"""How soon a film is seen, how fast it plays, how long a video takes: `python -m tests.bench.bench_film`.

In headless Chromium, which draws without a graphics card, at 1280x720: the demo, and a made outing of 150
steps at the demo's station with 100 bodies. Parts to ask for: ``page`` (bytes, seconds from opening the
file to the first live picture), ``play`` (pictures a second by day and by night on the lowest step of the
ladder, and milliseconds of a full one), ``video`` (minutes that a film of one minute takes, from 3 s of it).
Beside each stands the processor time of the browser, which others at work on the machine hardly make
longer: with two free cores it is about the longest that the thing can take. The load is told, too.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pandas as pd
import psutil
from playwright.sync_api import sync_playwright

import planning_kit as pk
from tests.bench.bench_growth import growing_outing
from tests.browser.conftest import BROWSER_FLAGS, browser_path

DEMO = Path(__file__).resolve().parents[2] / "scenarios" / "tern-station"
MOST_BYTES, LIVE_S, DAY_FPS, NIGHT_FPS, FULL_MIN, DRAFT_MIN = 1_200_000, 3.0, 10, 20, 8, 1
LOWEST = 0.36
FILM = "document.getElementById('film').film"
# Milliseconds of each picture in a row: what is drawn is read back, so that nothing is left to be done later.
PICTURES = f"""([minute, count, ratio]) => {{ const film = {FILM}; film.pause(); film.go(minute);
    film.canvas.style.width = "1280px"; const took = [];
    for (let n = 0; n < count; n += 1) {{ const begin = performance.now();
        film.second += 0.04; film.minute += 0.002; film.paint(ratio);
        film.canvas.getContext("2d").getImageData(0, 0, 1, 1); took.push(performance.now() - begin); }}
    return took; }}"""
VIDEO = f"""async quality => {{ const film = {FILM}; const begin = performance.now();
    film.scene.shots.splice(1); film.scene.shots[0].film_s = 3; await film.video(quality, "", () => true);
    return (performance.now() - begin) / 1000; }}"""


def made_outing() -> pk.Plan:
    """150 steps at the demo's station, with bodies added until there are 100."""
    scenario = growing_outing(150)
    bodies = scenario.bodies
    more = [{"body": f"unit-{n}", "kind": "box", "ends": f"{-13 + 0.35 * n} {2.6 if n % 2 else -2.6} 1.2",
             "length_m": 0.3, "width_m": 0.4, "height_m": 0.5} for n in range(100 - len(bodies))]
    frame = pd.concat([bodies.astype(object), pd.DataFrame(more, dtype=object)], ignore_index=True).fillna("")
    return pk.time_plan(scenario.with_table("bodies", frame))


def cpu_s() -> float:
    """Processor seconds of the browser so far, all its processes."""
    total = 0.0
    for process in psutil.Process().children(recursive=True):
        with suppress(psutil.Error):
            times = process.cpu_times()
            total += times.user + times.system
    return total


def _pages(name: str, plan: pk.Plan, page: Any, folder: Path) -> None:
    begin = time.perf_counter()
    file = plan.film(folder / f"{name}.html")
    made = time.perf_counter() - begin
    took, before = [], cpu_s()
    for _ in range(3):
        begin = time.perf_counter()
        page.goto(file.as_uri(), wait_until="commit")
        page.wait_for_function(f"() => {FILM}?.drawn", polling=20)
        took.append(time.perf_counter() - begin)
    used_s, live_s = (cpu_s() - before) / 3, statistics.median(took)
    print(f"{name}: {file.stat().st_size:,} bytes (at most {MOST_BYTES:,}), made in {made:.1f} s, live after "
          f"{live_s:.1f} s, {used_s:.1f} s of processor (wanted {LIVE_S:g})")


def _plays(name: str, plan: pk.Plan, page: Any) -> None:
    light = plan.light
    for word, windows, goal in (("day", light.day, DAY_FPS), ("night", light.night, NIGHT_FPS)):
        minute = next((float(sum(each) / 2) for each in windows if sum(each) / 2 < plan.end_min), None)
        if minute is None:
            continue
        before = cpu_s()
        took = page.evaluate(PICTURES, [minute, 24, LOWEST])[4:]
        cpu_ms = (cpu_s() - before) / 24 * 1000
        full = page.evaluate(PICTURES, [minute, 3, 2])[1:]
        print(f"{name} by {word}: {1000 / statistics.median(took):.0f} pictures a second, "
              f"{cpu_ms:.0f} ms of processor each (wanted {goal} a second), a full one "
              f"{statistics.median(full):.0f} ms")


def _videos(name: str, page: Any) -> None:
    for quality, goal in (("draft", DRAFT_MIN), ("full", FULL_MIN)):
        before = cpu_s()
        took_min = page.evaluate(VIDEO, quality) * 20 / 60
        used_min = (cpu_s() - before) * 20 / 60
        print(f"{name}: a minute in {took_min:.1f} min as {quality}, {used_min:.1f} min of processor "
              f"(wanted {goal})")
        page.reload()
        page.wait_for_function(f"() => {FILM}?.drawn")


def main(parts: list[str]) -> None:
    """The parts, or all of them."""
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    outings = {"demo": pk.time_plan(pk.load_scenario(DEMO)), "made": made_outing()}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path(), args=BROWSER_FLAGS)
        page = browser.new_page(viewport={"width": 1300, "height": 1000})
        for name, plan in outings.items():
            _pages(name, plan, page, Path(folder))
            if not parts or "play" in parts:
                _plays(name, plan, page)
            if not parts or "video" in parts:
                _videos(name, page)
        browser.close()
    print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(sys.argv[1:])
