# What a notebook may use, and where it stands: read when a name is first asked for.

from .changes.change import edit_row as edit_row
from .changes.order import move_step as move_step
from .explore.comparing.compare_findings import compare_findings as compare_findings
from .explore.comparing.compare_margins import compare_margins as compare_margins
from .explore.odds.odds import Odds as Odds
from .explore.odds.odds import compare_odds as compare_odds
from .explore.odds.odds import odds as odds
from .explore.odds.propose_cuts import propose_cuts as propose_cuts
from .explore.odds.propose_cuts import with_cuts as with_cuts
from .explore.revising.revisions import compare_revisions as compare_revisions
from .explore.sweep import good_spells as good_spells
from .explore.sweep import sweep_egress as sweep_egress
from .front import Plan as Plan
from .front import compare as compare
from .front import propose as propose
from .front import time_plan as time_plan
from .inputs.faults import SaveConflict as SaveConflict
from .inputs.faults import ScenarioError as ScenarioError
from .inputs.git_revision import scenario_at as scenario_at
from .inputs.log import read_log as read_log
from .inputs.log_append import append_log as append_log
from .inputs.scenario import Scenario as Scenario
from .inputs.scenario import load_scenario as load_scenario
from .inputs.sign_offs import add_note as add_note
from .inputs.sign_offs import reviews as reviews
from .inputs.sign_offs import sign_off as sign_off
from .open_desk import workbench as workbench
from .plan.moments import moment_of as moment_of
from .show.briefing import briefing as briefing
from .show.odds_charts import fan_chart as fan_chart
from .show.odds_charts import tornado_chart as tornado_chart
from .show.pack.write import write_review_pack as write_review_pack
from .show.season_chart import season_chart as season_chart
from .show.station_map import station_map as station_map
from .show.suit_chart import suit_chart as suit_chart
from .show.sweep_chart import sweep_chart as sweep_chart
from .show.swimlane import swimlane as swimlane
from .sky.light import link_windows as link_windows
from .sky.light import night_windows as night_windows
from .sky.orbit import Orbit as Orbit
from .sky.orbit import elements_age_note as elements_age_note
from .sky.orbit import load_orbit as load_orbit
from .sky.season import season as season

__version__: str
