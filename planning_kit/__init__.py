"""From a list of maintenance objectives to a timed, lit and checked two-person spacewalk plan.

A planning aid, not a certified tool: the flight rules and licensed, responsible people decide.

Read: `load_scenario`, `load_orbit`, `Scenario`, `ScenarioError`, `SaveConflict`
Sky:  `night_windows`, `link_windows`, `season`, `elements_age_note`
Plan: `time_plan`, `Plan` (ask it ``what_if`` and ``gain``), `move_step`, `edit_row`
Ask:  `compare`, `compare_findings`, `compare_margins`, `sweep_egress`, `good_spells`
Odds: `odds`, `Odds`, `compare_odds`, `propose_cuts`, `with_cuts`
Find: `propose`
Live: `append_log`, `read_log` (then ask a plan to ``retime``)
Show: `swimlane`, `season_chart`, `suit_chart`, `sweep_chart`, `tornado_chart`, `fan_chart`
Walk: `station_map`, `moment_of`
Desk: `workbench` (to plan, and to follow the outing)
Hand: `briefing`, `write_review_pack`, `compare_revisions`, `scenario_at`, `add_note`, `reviews`, `sign_off`
"""

from planning_kit.explore.comparing.compare_findings import compare_findings
from planning_kit.explore.comparing.compare_margins import compare_margins
from planning_kit.explore.editing.edits import move_step
from planning_kit.explore.editing.row_edits import edit_row
from planning_kit.explore.odds.compare_odds import compare_odds
from planning_kit.explore.odds.odds import Odds, odds
from planning_kit.explore.odds.propose_cuts import propose_cuts, with_cuts
from planning_kit.explore.revising.revisions import compare_revisions
from planning_kit.explore.sweeping.good_spells import good_spells
from planning_kit.explore.sweeping.sweep import sweep_egress
from planning_kit.front import Plan, compare, propose, time_plan
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.git_revision import scenario_at
from planning_kit.inputs.log import read_log
from planning_kit.inputs.log_append import append_log
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.sign_offs import add_note, reviews, sign_off
from planning_kit.open_desk import workbench
from planning_kit.plan.moments import moment_of
from planning_kit.show.briefing import briefing
from planning_kit.show.fan_chart import fan_chart
from planning_kit.show.pack.write import write_review_pack
from planning_kit.show.season_chart import season_chart
from planning_kit.show.station_map import station_map
from planning_kit.show.suit_chart import suit_chart
from planning_kit.show.sweep_chart import sweep_chart
from planning_kit.show.swimlane import swimlane
from planning_kit.show.tornado_chart import tornado_chart
from planning_kit.sky.light import night_windows
from planning_kit.sky.links import link_windows
from planning_kit.sky.orbit import Orbit, load_orbit
from planning_kit.sky.season import season
from planning_kit.sky.uncertainty import elements_age_note

__version__ = "0.2.0"

__all__ = [
    "Odds",
    "Orbit",
    "Plan",
    "SaveConflict",
    "Scenario",
    "ScenarioError",
    "add_note",
    "append_log",
    "briefing",
    "compare",
    "compare_findings",
    "compare_margins",
    "compare_odds",
    "compare_revisions",
    "edit_row",
    "elements_age_note",
    "fan_chart",
    "good_spells",
    "link_windows",
    "load_orbit",
    "load_scenario",
    "moment_of",
    "move_step",
    "night_windows",
    "odds",
    "propose",
    "propose_cuts",
    "read_log",
    "reviews",
    "scenario_at",
    "season",
    "season_chart",
    "sign_off",
    "station_map",
    "suit_chart",
    "sweep_chart",
    "sweep_egress",
    "swimlane",
    "time_plan",
    "tornado_chart",
    "with_cuts",
    "workbench",
    "write_review_pack",
]
