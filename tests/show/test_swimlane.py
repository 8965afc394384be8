import copy
import html
import json
import math
from collections import Counter
from datetime import timedelta
from itertools import pairwise

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.show.chart import Chart
from planning_kit.show.palette import fills_of
from planning_kit.show.swimlane import swimlane, swimlane_spec

MS = 60_000


def bars(figure, kind):
    """(trace name, y, width, base, length, custom data) of every bar that stands for ``kind``."""
    return [
        (trace.name, y, width, base, length, tuple(about))
        for trace in figure.data if trace.type == "bar"
        for y, width, base, length, about in zip(
            trace.y, trace.width, trace.base, trace.x, trace.customdata, strict=True)
        if about[2] == kind
    ]


def lane_y(figure, name):
    """y of the row label that reads ``name``."""
    axis = figure.layout.yaxis
    found = [value for value, text in zip(axis.tickvals, axis.ticktext, strict=True)
             if f">{name}<" in f">{text}<"]
    assert len(found) == 1, (name, axis.ticktext)
    return found[0]


def trace_named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def shapes_named(figure, name):
    return [shape for shape in figure.layout.shapes if shape.name == name]


def with_findings(plan, *rows):
    changed = copy.copy(plan)
    changed.findings = pd.DataFrame(rows, columns=plan.findings.columns)
    return changed


def test_every_row_of_the_timeline_is_drawn_once_in_its_lane_at_its_time(plan):
    figure = swimlane(plan)
    wanted = Counter(
        (row.crew, row.kind, row.step, round(row.start_min * MS),
         round((row.finish_min - row.start_min) * MS))
        for row in plan.timeline.itertuples()
    )
    drawn = Counter()
    for kind in ("work", "travel", "wait"):
        for _, y, _, base, length, (step, crew, _) in bars(figure, kind):
            # The tight outline is drawn over the work that it outlines, and is no row of its own.
            drawn[(crew, kind, step, base, length)] += 1
            assert y == lane_y(figure, crew)
    tight = trace_named(figure, "no slack to plan")
    drawn -= Counter((about[1], "work", about[0], base, length)
                     for about, base, length in zip(tight.customdata, tight.base, tight.x, strict=True))
    assert {key[:3] for key in drawn} == {key[:3] for key in wanted}
    # Times are floats in the table and whole milliseconds in the chart.
    assert all(min(abs(a[3] - b[3]) + abs(a[4] - b[4]) for b in wanted if a[:3] == b[:3]) <= 2 for a in drawn)
    assert drawn.total() == wanted.total() == len(plan.timeline)


def test_lanes_stand_in_the_order_light_links_crew_others_outing(plan):
    figure = swimlane(plan)
    names = ["light", "relay 46°E", "relay 174°W", "thrusters-free", "EV1", "EV2", "GND", "ARM", "outing"]
    heights = [lane_y(figure, name) for name in names]
    assert heights == sorted(heights)
    bottom, top = figure.layout.yaxis.range
    assert bottom > max(heights)
    assert top == 0  # y grows downwards


def test_work_travel_and_wait_differ_without_colour(plan):
    figure = swimlane(plan)
    heights = {kind: {width for _, _, width, _, _, (_, crew, _) in bars(figure, kind) if crew == "EV1"}
               for kind in ("work", "travel", "wait")}
    assert all(len(widths) == 1 for widths in heights.values())
    work, travel, wait = (heights[kind].pop() for kind in ("work", "travel", "wait"))
    assert travel < wait < work
    patterns = [trace_named(figure, kind).marker.pattern.shape for kind in ("travel", "wait")]
    assert len(set(patterns)) == 2
    plain = [trace.marker.pattern.shape for trace in figure.data if trace.legend == "legend"]
    assert not set(plain) & set(patterns)


def test_work_that_would_delay_ingress_has_a_bold_outline(plan):
    outlined = trace_named(swimlane(plan), "no slack to plan")
    tight = plan.timeline[(plan.timeline.kind == "work") & (plan.timeline.slack_to_plan_min == 0)]
    assert Counter(about[0] for about in outlined.customdata) == Counter(tight.step)
    assert outlined.marker.line.width > trace_named(swimlane(plan), "wait").marker.line.width


def test_tasks_differ_by_letter_and_keep_the_order_of_the_scenario(plan):
    tasks = [trace for trace in swimlane(plan).data if trace.legend == "legend"]
    in_order = [task.task for task in plan.scenario.records.tasks]
    letters, ids = zip(*(trace.name.split()[:2] for trace in tasks[:-1]), strict=True)
    assert list(ids) == in_order
    assert len(set(letters)) == len(in_order)
    assert {trace.marker.pattern.shape for trace in tasks} == {None}, "textures mean waits and ways"


def test_tasks_that_follow_each_other_in_a_lane_differ_in_colour(plan):
    fills = fills_of(plan.scenario.records.tasks, plan.lanes)
    for lane in plan.lanes.values():
        worked = [row.task for row in lane if row.kind == "work" and row.task]
        assert all(fills[one][0] != fills[other][0] for one, other in pairwise(worked) if one != other)


def test_titles_of_tasks_stand_whole_in_the_legend_with_room_for_each(plan):
    layout = swimlane(plan).layout
    names = [html.unescape(trace.name) for trace in swimlane(plan).data if trace.legend == "legend"]
    for task in plan.scenario.records.tasks:
        assert any(name.endswith(f": {task.task} {task.title}") for name in names)
    # Half an em a letter is less than any sans-serif face needs on the mean.
    assert layout.legend.entrywidth >= max(map(len, names)) * layout.legend.font.size / 2


def test_each_work_bar_carries_its_step_as_text(plan):
    labelled = [(about[0], text) for trace in swimlane(plan).data if trace.name in ("ids", "upright ids")
                for about, text in zip(trace.customdata, trace.text, strict=True)]
    work = plan.timeline[plan.timeline.kind == "work"]
    assert Counter(step for step, _ in labelled) == Counter(work.step)
    assert all(f">{step}<" in text for step, text in labelled if step)


def test_both_time_axes_are_one_and_name_the_same_moment(plan):
    layout = swimlane(plan).layout
    assert (layout.xaxis2.overlaying, layout.xaxis2.matches, layout.xaxis2.side) == ("x", "x", "top")
    assert layout.xaxis.range == layout.xaxis2.range
    pet, gmt = layout.xaxis.labelalias, layout.xaxis2.labelalias
    assert list(pet) == list(gmt)
    # PET 0 2031-05-14 11:20: day 31 + 28 + 31 + 30 + 14 = 134 of the year.
    keys = ("0", "1800", "5400", "-300")
    assert [pet[key] for key in keys] == ["0:00", "0:30", "1:30", "−0:05"]
    assert [gmt[key] for key in keys] == ["134/11:20", "134/11:50", "134/12:50", "134/11:15"]
    first, last = (int(edge / MS) for edge in (layout.xaxis.minallowed, layout.xaxis.maxallowed))
    assert first * MS <= layout.xaxis.range[0]
    assert last == plan.horizon_min
    assert set(pet) == {str(minute * 60) for minute in range(first, last + 1)}


def test_the_gmt_axis_turns_the_day(plan):
    plan.pet_zero = plan.pet_zero + timedelta(hours=12)
    gmt = swimlane(plan).layout.xaxis2.labelalias
    # PET 0 134/23:20, so PET 0:40 is midnight.
    assert gmt[str(40 * 60)] == "135/00:00"


def test_a_trace_stands_on_the_gmt_axis_or_plotly_would_not_draw_it(plan):
    assert {trace.xaxis for trace in swimlane(plan).data} == {"x", "x2"}


def test_light_is_numbered_and_night_runs_through_the_crew_lanes(plan):
    figure = swimlane(plan)
    night = trace_named(figure, "night")
    assert list(night.text) == [f"night {n}" for n in range(1, 7)]
    shades = [shape for shape in figure.layout.shapes if shape.name.startswith("night")]
    assert len(shades) == len(plan.light.night)
    for shade, (start, finish) in zip(shades, plan.light.night, strict=True):
        assert (shade.x0, shade.x1) == (round(start * MS), round(finish * MS))
        assert shade.y0 < lane_y(figure, "EV1") < lane_y(figure, "EV2") < lane_y(figure, "ARM") < shade.y1
        assert shade.layer == "below"


def test_a_plan_without_night_has_no_night_lane_parts_and_no_shade(plan):
    plan.light.night = plan.light.night[:0]
    figure = swimlane(plan)
    assert not [shape for shape in figure.layout.shapes if shape.name.startswith("night")]
    assert "night" not in {trace.name for trace in figure.data}
    assert "Nights begun in it: 0" in figure.alt


def test_handovers_are_arrows_from_the_end_of_one_step_to_the_start_of_another(plan):
    figure = swimlane(plan)
    drawn = []
    for name in ("item handed over", "comes after"):
        trace = trace_named(figure, name)
        for i in range(0, len(trace.x), 3):
            assert trace.x[i + 2] is None  # arrows do not join
            assert trace.marker.symbol[i + 1] == "arrow"
            drawn.append((name, *trace.x[i:i + 2], trace.customdata[i][0], trace.customdata[i + 1][0]))
            start_y, end_y = trace.y[i:i + 2]
            source, target = (lane_y(figure, trace.customdata[j][1]) for j in (i, i + 1))
            assert min(source, target) < min(start_y, end_y) <= max(start_y, end_y) < max(source, target)
            assert (end_y > start_y) == (target > source)
    wanted = [("comes after" if row.what == "after" else "item handed over", round(row.from_min * MS),
               round(row.to_min * MS), row.from_step, row.to_step) for row in plan.handovers.itertuples()]
    assert sorted(drawn) == sorted(wanted)


def test_limits_are_labelled_lines_with_their_source(plan):
    figure = swimlane(plan)
    for name, minute, label in (("planned limit", 390, "planned limit 6:30 (demo value)"),
                                ("hard limit", 420, "hard limit 7:00 (demo value)")):
        (line,) = shapes_named(figure, name)
        assert line.x0 == line.x1 == minute * MS
        assert line.y0 < lane_y(figure, "EV1") < lane_y(figure, "ARM") < line.y1
        (text,) = [note for note in figure.layout.annotations if note.name == name]
        assert (text.text, text.x) == (label, minute * MS)
    dashes = {shapes_named(figure, name)[0].line.dash for name in ("planned limit", "hard limit")}
    assert len(dashes) == 2
    labels = [note for note in figure.layout.annotations if note.name in ("planned limit", "hard limit")]
    assert len({note.y for note in labels}) == 2  # one above the other: they never overlap


def test_the_first_view_holds_the_whole_outing_even_past_the_hard_limit(plan):
    plan.end_min = plan.safe_min = 460.0
    assert swimlane(plan).layout.xaxis.range[1] >= 460 * MS


def test_findings_are_signs_by_severity_where_they_occur(plan):
    step = plan.timeline[(plan.timeline.kind == "work") & (plan.timeline.crew == "EV2")].iloc[5]
    plan = with_findings(
        plan,
        ("stop", "reach", "EV1", "", 50.0, "too far", ""),
        ("concern", "link", "", step.step, math.nan, "placed by its step", ""),
        ("remark", "limits", "", "", 300.0, "of the whole plan", ""),
        ("remark", "limits", "", "", math.nan, "no time at all", ""),
    )
    figure = swimlane(plan)
    stop, concern, remark = (trace_named(figure, name) for name in ("stop", "concern", "remark"))
    assert [list(trace.x) for trace in (stop, concern, remark)] == [
        [50 * MS], [round(step.start_min * MS)], [300 * MS]]
    assert len({trace.marker.symbol for trace in (stop, concern, remark)}) == 3
    assert stop.y[0] < lane_y(figure, "EV1")
    assert lane_y(figure, "EV2") < concern.y[0] < lane_y(figure, "GND")
    assert remark.y[0] == lane_y(figure, "whole plan")
    assert "1 stop, 1 concern, 2 remark (1 without a time, not marked)" in figure.layout.title.text


def test_findings_at_one_place_share_the_worst_sign_and_all_their_words(plan):
    rows = [("remark", "b", "EV1", "", 50.0, "second", ""), ("stop", "a", "EV1", "", 50.0, "first", "")]
    figure = swimlane(with_findings(plan, *rows))
    names = {trace.name for trace in figure.data}
    assert "stop" in names
    assert "remark" not in names
    (text,) = trace_named(figure, "stop").hovertext
    assert "first" in text
    assert "second" in text
    assert list(trace_named(figure, "stop counts").text) == ["<b>2</b>"]


def test_no_findings_leaves_no_strip_for_them(plan):
    figure = swimlane(with_findings(plan))
    assert "no findings" in figure.layout.title.text
    assert not [text for text in figure.layout.yaxis.ticktext if "findings" in text or "whole plan" in text]


def test_ghosts_show_where_each_step_was(plan, baseline):
    figure = swimlane(plan, baseline)
    was = baseline.timeline[(baseline.timeline.kind == "work") & (baseline.timeline.step != "")]
    drawn = Counter((about[1], about[0], base) for _, _, _, base, _, about in bars(figure, "ghost"))
    assert drawn == Counter((row.crew, row.step, round(row.start_min * MS)) for row in was.itertuples())
    ghosts = trace_named(figure, "baseline")
    ev1 = [y for y, about in zip(ghosts.y, ghosts.customdata, strict=True) if about[1] == "EV1"]
    assert len(set(ev1)) == 1
    assert ev1[0] < lane_y(figure, "EV1")
    texts = {about[0]: text for about, text in zip(ghosts.customdata, ghosts.hovertext, strict=True)}
    assert "Not in this plan" in texts["OLD1"].replace("<br>", " ")
    late = was[(was.start_min > 120) & (was.step != "OLD1")].step.iloc[0]
    assert "Starts 6 min later now" in texts[late].replace("<br>", " ")  # the fixture moved it by six minutes
    assert "Starts at the same time now" in texts["BOTH1"].replace("<br>", " ")


def test_without_a_baseline_there_are_no_ghosts(plan):
    assert not bars(swimlane(plan), "ghost")


def test_a_finding_that_names_two_is_marked_in_both_lanes(plan):
    figure = swimlane(with_findings(plan, ("concern", "worksites", "EV1 EV2", "", 50.0, "too many", "")))
    concern = trace_named(figure, "concern")
    assert list(concern.x) == [50 * MS, 50 * MS]
    assert min(concern.y) < lane_y(figure, "EV1") < lane_y(figure, "EV2") < max(concern.y)


def test_inhibits_in_force_share_rows_where_they_do_not_overlap(plan):
    figure = swimlane(plan)
    drawn = {about[0]: (y, base, length) for _, y, _, base, length, about in bars(figure, "inhibit")}
    rows = sorted({y for y, _, _ in drawn.values()})
    assert drawn == {
        "I-PWR": (rows[0], 90 * MS, 60 * MS), "I-TX": (rows[0], 150 * MS, 50 * MS),
        "I-ARM": (rows[1], 100 * MS, 150 * MS),
    }  # and none for the one that ends before it begins: that is a finding
    assert rows[0] > lane_y(figure, "ARM")
    text = trace_named(figure, "inhibit in force").hovertext[0].replace("<br>", " ")
    assert text == ("Inhibit, 1:30 to 2:30 (60 min): I-PWR Bus isolated. Held by Ground desk. "
                    "From REG05 until REG08 is finished. Live connectors. GMT 134/12:50 to 134/13:50.")


def test_panning_reaches_an_inhibit_that_stands_before_pet_zero(plan):
    plan.inhibits.loc[0, "set_by_min"] = -40.0
    layout = swimlane(plan).layout
    assert layout.xaxis.minallowed <= -40 * MS
    assert layout.xaxis.labelalias[str(-40 * 60)] == "−0:40"
    assert layout.xaxis.range[0] > -40 * MS  # at first, the outing


def test_steps_of_both_bridge_the_gutter(plan):
    figure = swimlane(plan)
    assert [(base, length, about) for _, _, _, base, length, about in bars(figure, "together")] == [
        (0, 12 * MS, ("BOTH1", "both", "together"))]
    (bridge,) = trace_named(figure, "done together").y
    assert lane_y(figure, "EV1") < bridge < lane_y(figure, "EV2")


def test_hostile_text_is_only_ever_shown(plan):
    hostile = '<img src=x onerror="alert(1)"> <a href="javascript:alert(1)">x</a> $\\unsafe$ &lt;b&gt; %{x}'
    plan.timeline["title"] = hostile
    plan.timeline.loc[plan.timeline.kind == "work", "held_by"] = f"window:{hostile}"
    plan.findings["message"] = hostile
    plan.handovers["what"] = hostile
    for column in ("inhibit", "title", "owner", "reason"):
        plan.inhibits[column] = hostile
    plan.named_windows = {hostile: plan.named_windows["thrusters-free"]}
    records = plan.scenario.records
    records.settings.title = records.settings.station = hostile
    records.settings.limits.sources["hard_min"] = hostile
    records.tasks = tuple(type(task)(**{**vars(task), "title": hostile}) for task in records.tasks)
    figure = swimlane(plan, plan)
    ours = ("<b>", "</b>", "<br>", "</span>", '<span style="font-size:15px">')
    for text in shown_texts(figure):
        for tag in ours:
            text = text.replace(tag, "")
        text = text.replace('<span style="font-size:12px;color:#57606A">', "")
        text = text.replace('<span style="color:#57606A">', "")
        assert not set(text) & set("<>$"), text
    assert not [trace for trace in figure.data if trace.hovertemplate or getattr(trace, "texttemplate", None)]


def shown_texts(figure):
    for trace in figure.data:
        yield trace.name
        for value in (trace.text, trace.hovertext):
            yield from ([value] if isinstance(value, str) else value or [])
    layout = figure.layout
    yield layout.title.text
    yield from layout.yaxis.ticktext
    yield from (note.text for note in layout.annotations)


def test_the_json_is_plain_and_the_same_every_time(plan):
    first, second = swimlane(plan).to_json(), swimlane(copy.deepcopy(plan)).to_json()
    assert first == second
    assert '"bdata"' not in first  # plotly's code for packed arrays
    assert "NaN" not in first
    spec = swimlane_spec(plan)
    assert json.loads(json.dumps(spec)) == spec  # plain lists, numbers and texts only


def test_the_spec_is_the_figure(plan):
    assert Chart(**swimlane_spec(plan)).to_json() == swimlane(plan).to_json()


def test_drawing_leaves_the_plan_alone(plan, baseline):
    before = plan.timeline.copy(deep=True)
    swimlane(plan, baseline)
    pd.testing.assert_frame_equal(plan.timeline, before)


def test_the_dark_theme_changes_colours_only(plan):
    light, dark = swimlane(plan), swimlane(plan, theme="dark")
    assert light.layout.paper_bgcolor != dark.layout.paper_bgcolor
    places = [[list(trace.x) for trace in figure.data if trace.name != "casing"] for figure in (light, dark)]
    assert places[0] == places[1]


def test_another_theme_is_refused(plan):
    with pytest.raises(pk.ScenarioError, match="'light' or 'dark'"):
        swimlane(plan, theme="sepia")


def test_the_alternative_text_says_what_the_chart_holds(plan):
    alt = swimlane(plan).alt
    steps = plan.timeline[(plan.timeline.kind == "work") & (plan.timeline.step != "")].step.nunique()
    assert f"Steps: {steps}, of ARM, EV1, EV2, GND." in alt
    assert "PET 0 at GMT 134/11:20" in alt
    assert "2 stop, 3 concern, 2 remark" in alt


@pytest.mark.parametrize("name", ["tern-station", "small-outing", "faulty-plan"])
def test_the_demo_scenarios_draw(name):
    plan = pk.time_plan(pk.load_scenario(f"scenarios/{name}"))
    figure = swimlane(plan, plan)
    drawn = sum(len(bars(figure, kind)) for kind in ("work", "travel", "wait"))
    over = sum(len(trace.x) for trace in figure.data if trace.name in (
        "no slack to plan", "breaks a rule", "outside its window"))
    assert drawn - over == len(plan.timeline)


def test_patterns_leave_the_colour_of_a_bar_where_no_template_does(plan):
    # Plotly's schema: without "overlay" a pattern's ground is the paper, and the task's colour is lost.
    spec = swimlane_spec(plan)
    assert "template" not in spec["layout"]
    marked = [trace["marker"]["pattern"] for trace in spec["data"] if "pattern" in trace.get("marker", {})]
    assert marked
    assert {pattern["fillmode"] for pattern in marked} == {"overlay"}
