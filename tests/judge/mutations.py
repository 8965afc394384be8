"""What a plan says of itself, in a form that tests compare: one edit, exactly the expected findings."""

from __future__ import annotations

import pandas as pd

import planning_kit as pk
from tests.edits import edited, with_row


def found(scenario: pk.Scenario, *checks: str) -> list[tuple[str, str, str, str]]:
    """Severity, check, crew and step of every finding of the plan, or of some checks."""
    findings = pk.time_plan(scenario).findings
    return [(r.severity, r.check, r.crew, r.step) for r in findings.itertuples()
            if not checks or r.check in checks]


def only_finding(scenario: pk.Scenario, *checks: str) -> dict[str, object]:
    """The one finding of the plan, or of some checks; any other is a failure."""
    findings = pk.time_plan(scenario).findings
    findings = findings[findings["check"].isin(checks)] if checks else findings
    assert len(findings) == 1, findings[["severity", "check", "step", "message"]].to_dict("records")
    return dict(findings.iloc[0])


def with_item(scenario: pk.Scenario, item: str, **cells: object) -> pk.Scenario:
    """The scenario with one more item; cells not named are empty."""
    frame = scenario.hardware.astype(object)
    row = {column: cells.get(column, "") for column in frame.columns} | {"item": item}
    return scenario.with_table("hardware", pd.concat([frame, pd.DataFrame([row], dtype=object)],
                                                     ignore_index=True))


def with_step(scenario: pk.Scenario, at: int, step: str, crew: str, place: str, minutes: float,
              **cells: object) -> pk.Scenario:
    """The scenario with one more step at row ``at``, of the clean-up task."""
    return with_row(scenario, "steps", at=at, step=step, task="CLN", crew=crew, place=place, exertion="light",
                    minutes_low=minutes, minutes_likely=minutes, minutes_high=minutes, **cells)


def with_camera(small: pk.Scenario) -> pk.Scenario:
    """The small outing with a camera that EV1 has with them: still clean."""
    return with_item(small, "camera", kind="tool", at="EV1", end_at="inside", slots=0, bulky="no")


def with_anchor(small: pk.Scenario, place: str = "MID") -> pk.Scenario:
    """The small outing with one more anchor, and both hooked at the hatch at the end."""
    return edited(edited(small, "places", place, anchor="yes"), "steps", "Z1", hooks="EV1 EV2")
