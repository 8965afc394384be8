"""Scenarios that many tests share; loading and timing them once is enough, since they never change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import planning_kit as pk

# Problems are drawn alike on every run (a new draw: --hypothesis-seed=random); infeasible ones are drawn
# again, which is what "filter too much" complains of.
settings.register_profile("repeatable", derandomize=True, deadline=None,
                          suppress_health_check=[HealthCheck.filter_too_much])
settings.load_profile("repeatable")

TESTS = Path(__file__).parent
SCENARIOS = TESTS.parent / "scenarios"
TERN, LATE = TESTS / "data" / "tern-2", TESTS / "data" / "late-2"  # the demo as tests quote it, and its log
# Folders, files and tests that the quick tests leave out; most take more than a second or two of one core.
LONG = (
    "attack",
    "browser",
    "campaign/test_assign.py::test_a_campaign_cut_short_goes_on",
    "campaign/test_assign.py::test_moved_tells_of_states_further_on",
    "campaign/test_assign.py::test_the_same_answer_on_every_run",
    "campaign/test_end_state.py::test_a_thousand_random_logs_of_fifty_random_outings",
    "campaign/test_over_outings.py::test_nothing_vanishes_and_nothing_appears_over_several_outings",
    "changes/test_changes.py::test_at_once_or_one_after_another_in_any_order",
    "changes/test_drops_and_swaps.py::test_compare_tells_just_the_dropped_steps_as_dropped",
    "desk/test_journals.py",
    "desk/test_outside.py::test_options_are_told_ranked_looked_at_and_taken_into_the_log",
    "explore/propose/test_demo_orders.py",
    "explore/propose/test_forty_steps.py",
    "explore/propose/test_goals.py",
    "explore/propose/test_made_outings.py::test_a_search_of_little_effort_wins_most_of_what_the_hand_won",
    "explore/propose/test_odd_questions.py",
    "explore/propose/test_order_screen.py",
    "explore/propose/test_repairs.py::test_no_repair_brings_a_new_stop",
    "explore/propose/test_salesmen.py::test_an_outing_ends_within_a_hundredth_of_the_best_known_makespan",
    "explore/propose/test_small_orders.py",
    "explore/propose/test_what_binds.py",
    "explore/retime/test_asked_outside.py::test_a_gain_outside_changes_only_what_is_to_come",
    "explore/retime/test_asked_outside.py::test_charts_pages_and_comparisons_are_made",
    "explore/retime/test_log.py::test_two_writers_lose_nothing",
    "explore/retime/test_odds_outside.py",
    "explore/retime/test_option_findings.py",
    "explore/retime/test_options.py",
    "explore/retime/test_order_of_the_rest.py",
    "explore/retime/test_reorder.py",
    "explore/retime/test_retime_properties.py",
    "explore/session/test_files.py",
    "explore/session/test_going_outside.py",
    "explore/session/test_journals.py",
    "explore/session/test_merge.py::test_no_typed_text_is_lost_without_being_asked",
    "explore/session/test_typing.py::test_undo_after_any_edits_restores_exactly",
    "explore/test_cut_rule.py",
    "explore/test_executors.py",
    "explore/test_gain.py",
    "explore/test_odds.py::test_a_dask_cluster_is_an_executor_like_any_other",
    "explore/test_odds.py::test_results_do_not_depend_on_who_computes_them",
    "explore/test_odds_play.py",
    "explore/test_one_judge.py::test_better_orders_and_the_rest_drop_what_the_cuts_drop",
    "explore/test_one_judge.py::test_options_and_cuts_drop_in_one_order",
    "explore/test_one_judge.py::test_required_work_is_left_out_by_a_person_and_by_no_search",
    "explore/test_one_judge.py::test_what_dropped_work_leaves_where_it_was_is_a_new_stop_for_nobody",
    "explore/test_sweep.py",
    "inputs/test_fuzz.py",
    "inputs/test_git_doors.py",
    "inputs/test_git_revision.py",
    "inputs/test_oem.py::test_a_plan_in_the_light_of_an_ephemeris",
    "inputs/test_oem.py::test_absurd_files_are_told",
    "inputs/test_save.py::test_a_reader_never_sees_two_saves_mixed",
    "inputs/test_sizes.py",
    "inputs/test_workbook.py::test_a_workbook_says_what_the_folder_says",
    "inputs/test_workbook.py::test_libreoffice_changes_nothing",
    "judge/test_blocks.py::test_all_can_be_asked",
    "judge/test_blocks.py::test_the_briefing_and_the_pack_say_not_known",
    "judge/test_blocks.py::test_the_outing_is_followed",
    "plan/test_giving_way.py::test_what_gives_way_is_what_the_solver_finds",
    "plan/test_exposures.py::test_intervals_agree_with_a_simulation_by_the_second",
    "plan/test_hardware_by_second_hand.py",
    "plan/test_late.py::test_a_late_step_can_slip_by_its_margin_without_moving_others",
    "plan/test_late.py::test_late_starts_are_those_that_the_solver_finds_greatest",
    "plan/test_late.py::test_many_at_once_as_one_by_one",
    "plan/test_late.py::test_nothing_else_moves_and_every_rule_is_kept",
    "plan/test_late.py::test_what_holds_a_late_step_leads_to_an_end_and_never_in_a_circle",
    "plan/test_returns.py",
    "plan/test_timing_against_solver.py",
    "plan/test_timing_properties.py",
    "plan/test_ways_home.py",
    "plan/test_whole_scenarios.py",
    "show/test_offline_html.py",
    "show/test_pack_files.py",
    "show/test_pages_of_procedures.py",
    "show/test_pack_on_paper.py::test_cards_leave_nothing_out_whatever_the_titles",
    "show/test_pack_on_paper.py::test_the_contents_name_the_page_of_every_section",
    "show/test_pack_writing.py",
    "show/test_refresh_notebooks.py",
    "show/test_regression_template.py",
    "sky/test_ephemeris.py::test_light_links_and_beta_are_those_of_the_orbit_that_was_sampled",
    "sky/test_light.py::test_a_year_against_brute_force",
    "sky/test_light.py::test_an_eccentric_orbit_against_brute_force",
    "sky/test_light.py::test_a_grazing_season_against_brute_force",
    "sky/test_light_against_spice.py",
    "sky/test_links.py::test_links_agree_with_traced_rays",
    "test_progress_bar.py::test_an_interrupted_search_keeps_the_best_and_says_so",
    "test_progress_bar.py::test_every_long_call_has_a_bar",
    "test_demo_by_hand.py::test_demo_stays_sound_without_any_one_task",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """``-m "not long"`` runs the quick tests: what stands in `LONG` is marked in one place."""
    for item in items:
        if item.path.is_relative_to(TESTS) and is_long(item.nodeid.removeprefix("tests/")):
            item.add_marker(pytest.mark.long)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """The quick tests do not even import the folders and files of `LONG`."""
    if config.option.markexpr == "not long" and collection_path.is_relative_to(TESTS):
        return is_long(collection_path.relative_to(TESTS).as_posix()) or None
    return None


def is_long(name: str) -> bool:
    """Whether a test, named from this folder on, is one that the quick tests leave out."""
    return any(name == entry or name.startswith((f"{entry}/", f"{entry}::", f"{entry}[")) for entry in LONG)


@pytest.fixture(scope="session", autouse=True)
def _state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Locks and journals of tests lie in a folder of their own, not in the user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLANNING_KIT_STATE", str(tmp_path_factory.mktemp("state")))
        yield


@pytest.fixture(scope="session")
def small() -> pk.Scenario:
    return pk.load_scenario(SCENARIOS / "small-outing")


@pytest.fixture(scope="session")
def small_plan(small: pk.Scenario) -> pk.Plan:
    return pk.time_plan(small)


@pytest.fixture(scope="session")
def demo() -> pk.Scenario:
    return pk.load_scenario(TERN)


@pytest.fixture(scope="session")
def demo_plan(demo: pk.Scenario) -> pk.Plan:
    return pk.time_plan(demo)
