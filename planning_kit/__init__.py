"""From a list of maintenance objectives to a timed, lit and checked two-person spacewalk plan.

A planning aid, not a certified tool: the flight rules and licensed, responsible people decide.

Read: `load_scenario`, `load_orbit`, `Scenario`, `ScenarioError`, `SaveConflict`
Sky:  `night_windows`, `link_windows`, `season`
Plan: `time_plan`, `Plan`, `compare`, `sweep_egress`
Show: `swimlane`, `season_chart`
"""

from planning_kit.explore.compare import compare
from planning_kit.explore.sweep import sweep_egress
from planning_kit.front import Plan, time_plan
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.sky.light import night_windows
from planning_kit.sky.links import link_windows
from planning_kit.sky.orbit import Orbit, load_orbit
from planning_kit.sky.season import season

__all__ = [
    "Orbit",
    "Plan",
    "SaveConflict",
    "Scenario",
    "ScenarioError",
    "compare",
    "link_windows",
    "load_orbit",
    "load_scenario",
    "night_windows",
    "season",
    "sweep_egress",
    "time_plan",
]
