"""``python -m planning_kit.show.film FOLDER``: a plan's film as a video, made in a browser without a window.

It is the page of ``plan.film(file)`` that makes it, picture by picture, by what its own button does: this
only opens that page and says how far it is. It ends with 0 where a video was written, 2 where nothing was.
"""

import argparse
import base64
import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tqdm import tqdm

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import load_scenario
from planning_kit.inputs.shown_text import visible
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.film.film_page import write_film

_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_NEEDS = """\
A video is made by Chromium, which this command opens without a window. It needs both of
  playwright:  pip install 'planning-kit[film]'
  Chromium:    the system's own (chromium, google-chrome), or: playwright install chromium
Without them: open the page that plan.film("film.html") writes, in a browser, and press "make video"."""
_MAKE = """async ([quality, cut]) => {
    const film = document.getElementById("film").film;
    const bytes = await film.video(quality, cut, share => { window.told(share); return true; });
    const parts = [];  // a text of all of it at once is longer than a call may take
    for (let at = 0; at < bytes.length; at += 32768)
        parts.push(String.fromCharCode(...bytes.subarray(at, at + 32768)));
    return [btoa(parts.join("")), film.captions()];
}"""


def main(arguments: Sequence[str] | None = None) -> int:
    """The command: see the module."""
    asked = _parser().parse_args(arguments)
    try:
        plan = TimedPlan.of(load_scenario(asked.folder))
        video, captions = _made(plan, "draft" if asked.draft else "full", asked.cut)
        target = Path(asked.to or f"{Path(asked.folder).absolute().name}.webm")
        target.write_bytes(video)
        target.with_suffix(".vtt").write_text(captions, encoding="utf-8", newline="\n")
    except ScenarioError as fault:
        print(fault, file=sys.stderr)
    except ImportError:
        print(_NEEDS, file=sys.stderr)
    except OSError as error:
        print(f"cannot be written: {visible(error)}", file=sys.stderr)
    else:
        print(f"{target} ({len(video) / 1e6:.1f} MB) and its captions {target.with_suffix('.vtt')}")
        return 0
    return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m planning_kit.show.film", description=_NEEDS,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", help="of the scenario")
    parser.add_argument("--cut", choices=("1", "5", ""), default="1",
                        help="minutes of the film (default 1); '' for all shots")
    parser.add_argument("--draft", action="store_true", help="small and coarse, in a sixth of the time")
    parser.add_argument("--to", help="the file to write (.webm; default: the folder's name, here)")
    return parser


def _made(plan: TimedPlan, quality: str, cut: str) -> tuple[bytes, str]:
    """The video and its captions. Raises `ImportError` without playwright or a browser."""
    from playwright.sync_api import Error, sync_playwright

    path = next(filter(None, map(shutil.which, _BROWSERS)), None)
    # Chromium has no sandbox for root; the page is ours, and runs nothing that was typed.
    flags = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        try:
            browser = playwright.chromium.launch(executable_path=path, args=flags)
        except Error as error:
            raise ImportError(str(error)) from None
        with tqdm(total=1.0, mininterval=1.0, bar_format="{l_bar}{bar}| {elapsed}, {remaining} left") as bar:
            def tell(share: float) -> None:
                bar.update(share - bar.n)

            page: Any = browser.new_page()
            page.expose_function("told", tell)
            page.goto(write_film(plan, Path(folder) / "film.html").as_uri())
            try:
                video, captions = page.evaluate(_MAKE, [quality, cut])
            except Error as error:
                raise ScenarioError.single(f"no video: {error.message.splitlines()[0]}") from None
        browser.close()
    return base64.b64decode(video), str(captions)


if __name__ == "__main__":
    sys.exit(main())
