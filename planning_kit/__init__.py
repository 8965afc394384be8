"""From a list of maintenance objectives to a timed, lit and checked two-person spacewalk plan.

A planning aid, not a certified tool: the flight rules and licensed, responsible people decide.

Many: `load_campaign` (a `Campaign`): ``outings``, ``backlog``, ``next_scenario``, ``findings``; a plan:
      ``end_state`` (`EndState`)
Read: `load_scenario`, `scenario_at` (a git revision), `load_orbit`, `ScenarioError`, `SaveConflict`;
      `read_timeline` (an old sheet of times: a `Timeline`, with its `Baseline`)
Edit: `new_scenario`; `Scenario` ``edit_row``, ``move_step``, ``with_cuts``, ``save``, ``write_workbook``,
      ``sign_off``, ``add_note``, ``reviews``
Sky:  `night_windows`, `link_windows`, `season`, `elements_age_note`
Plan: `time_plan`, `find_plan` where a scenario has none; `Plan` (tables, `PlanRecords`, ``findings``, ...)
Ask:  a plan: ``what_if``, ``gain``, ``compare`` (`Comparison`), ``sweep`` (`Sweep`), ``at`` (`Moment`)
Odds: a plan: ``odds`` (`Odds`), ``cuts``. What it keeps now, as assertions: ``promises`` (`Promises`)
Find: a plan: ``propose`` (`Proposals`, each a `Proposal`)
Live: `append_log`, `read_log`, then a plan: ``retime``, ``options``, ``abort``, ``response`` (`Answer`)
Show: `swimlane`, `suit_chart`, `sweep_chart`, `season_chart`, `fan_chart`, `tornado_chart`:
      each a `Chart`; a plan: ``film``, ``still`` (`Still`)
Desk: `workbench` (`Workbench`; to plan, and to follow the outing)
Hand: a plan: ``briefing`` (`Briefing`), ``accept`` (then `Scenario` ``accepted``), ``write_pack``
Look: `format_reference` (every column and key), `name_reference` (every name, and where it is shown)

Begin with ``pk.time_plan(pk.load_scenario(folder))``, or in the notebooks, which show all of it at work:
00_workbench, 01_pick_a_day, 02_time_the_plan, 03_hands_and_hooks, 04_home_with_margin, 05_what_if, 06_odds,
07_a_better_order, 08_walk_it, 09_review, 10_regression_template, 11_running_late, 12_new_outing,
14_procedure, 13_reference.
"""

import lazy_loader

__version__ = "0.2.0"

# A name is loaded when it is first asked for: whoever only reads scenarios waits for no solver and no chart.
# The names and their homes stand in __init__.pyi.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
