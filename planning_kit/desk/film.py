"""The film in a notebook: one widget, whose scripts the page asks for when it shows its first film.

Where there is no kernel, as in a saved notebook, a still of the outing's start is seen in its place.
"""

from contextlib import suppress
from functools import cache
from hashlib import sha256
from typing import Any

import anywidget
import traitlets

from planning_kit.desk.assets import module_text
from planning_kit.explore.long_question import InPieces, at_once
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.timed import TimedPlan, as_plan
from planning_kit.show.film.film_page import film_file
from planning_kit.show.film.scene import scene_in_pieces, scene_of
from planning_kit.show.still import still


@cache
def _version() -> str:
    return sha256(film_file("film.bundle.js").encode()).hexdigest()[:12]


class FilmView(anywidget.AnyWidget):
    """A plan's film in a notebook; ``minute`` is where it stands (PET), and moves it when it is set."""

    _esm = module_text("film_widget")
    _css = film_file("film.css")
    scene = traitlets.Dict().tag(sync=True)
    version = traitlets.Unicode().tag(sync=True)
    still = traitlets.Unicode().tag(sync=True)
    minute = traitlets.Float(0.0).tag(sync=True)

    def __init__(self, plan: TimedPlan) -> None:
        """Show the film of ``plan``."""
        super().__init__(scene=scene_of(plan), version=_version(), still=still(plan, 0.0, "station").address)
        self._plan, self._wanted = plan, ""
        self.on_msg(self._on_message)

    def follow(self, plan: object) -> None:
        """Show another plan in the same view, at the same minute. Raises `ScenarioError` for what is none."""
        at_once(self.following(as_plan(plan)))

    def following(self, plan: TimedPlan) -> InPieces[None]:
        """The same in pieces; a step that was asked for in vain and is there now is gone to."""
        if plan is self._plan:  # making a scene takes a second: not again for the same plan
            return
        scene = yield from scene_in_pieces(plan)
        self._plan, self.scene = plan, scene
        if self._wanted:
            with suppress(ScenarioError):
                self.go(self._wanted)

    def go(self, step: str) -> None:
        """Go to the start of a step. Raises `ScenarioError` for one that the plan does not have."""
        found = [each["from"] for each in self.scene["steps"] if each["step"] == step]
        self._wanted = "" if found else step
        if not found:
            raise ScenarioError.single("is no step of this film", column="step", value=step)
        if self.minute == found[0]:
            self.send({"kind": "go"})  # no change of it that the page would hear, and it may stand elsewhere
        self.minute = found[0]

    def _repr_mimebundle_(self, **asked: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        told, more = super()._repr_mimebundle_(**asked) or ({}, {})
        return {**told, "text/html": still(self._plan, 0.0, "station").img}, more

    def __repr__(self) -> str:
        return f"Film of {one_line(self._plan.scenario.settings.title)}: run this cell to see it"

    def _on_message(self, _widget: Any, content: dict[str, Any], _buffers: Any) -> None:
        if content.get("kind") == "script":
            self.send({"kind": "script", "text": film_file("film.bundle.js")})
