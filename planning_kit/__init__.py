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

import lazy_loader

__version__ = "0.2.0"

# A name is loaded when it is first asked for: whoever only reads scenarios waits for no solver and no chart.
# The names and their homes stand in __init__.pyi.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
