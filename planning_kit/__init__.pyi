# What a notebook may use, and where it stands: read when a name is first asked for.

from .desk.workbench import Workbench as Workbench
from .explore.propose.proposals import Proposal as Proposal
from .explore.propose.proposals import Proposals as Proposals
from .explore.retime.going_home import Answer as Answer
from .explore.sweep import Sweep as Sweep
from .front.plan import Briefing as Briefing
from .front.plan import Comparison as Comparison
from .front.plan import Odds as Odds
from .front.plan import Plan as Plan
from .front.plan import find_plan as find_plan
from .front.plan import time_plan as time_plan
from .front.reference import name_reference as name_reference
from .front.shown import PlanRecords as PlanRecords
from .inputs.faults import SaveConflict as SaveConflict
from .inputs.faults import ScenarioError as ScenarioError
from .inputs.git_revision import scenario_at as scenario_at
from .inputs.log import read_log as read_log
from .inputs.log_append import append_log as append_log
from .inputs.new_scenario import new_scenario as new_scenario
from .inputs.scenario import Scenario as Scenario
from .inputs.scenario import load_scenario as load_scenario
from .inputs.schema import format_reference as format_reference
from .inputs.timeline_sheet import Baseline as Baseline
from .inputs.timeline_sheet import Timeline as Timeline
from .inputs.timeline_sheet import read_timeline as read_timeline
from .judge.promises import Promises as Promises
from .open_desk import workbench as workbench
from .plan.moments import Moment as Moment
from .show.chart import Chart as Chart
from .show.odds_charts import fan_chart as fan_chart
from .show.odds_charts import tornado_chart as tornado_chart
from .show.season_chart import season_chart as season_chart
from .show.station_map import station_map as station_map
from .show.still import Still as Still
from .show.suit_chart import suit_chart as suit_chart
from .show.sweep_chart import sweep_chart as sweep_chart
from .show.swimlane import swimlane as swimlane
from .sky.light import link_windows as link_windows
from .sky.light import night_windows as night_windows
from .sky.light import season as season
from .sky.orbit import Orbit as Orbit
from .sky.orbit import elements_age_note as elements_age_note
from .sky.orbit import load_orbit as load_orbit

__version__: str
