import itertools

import pytest

from planning_kit.show.swimlane_scene import lay_out


@pytest.mark.parametrize("ghosts", [False, True])
@pytest.mark.parametrize("marked", [[], ["EV1", "EV2", "GND", ""]])
def test_no_two_strips_overlap_and_all_are_inside(ghosts, marked):
    links = ["r1", "r2", "w"]
    lanes = lay_out(["EV1", "EV2"], ["GND", "ARM"], links, inhibit_rows=2, with_ghosts=ghosts,
                    with_findings=marked)
    strips = [lanes.light, *lanes.links.values(), lanes.whole_plan, lanes.planned_label, lanes.hard_label,
              lanes.outing, *lanes.inhibits]
    for lane in lanes.people.values():
        strips += [lane.main, lane.findings, lane.ghosts]
    present = sorted((strip.top, strip.bottom) for strip in strips if strip is not None)
    assert all(above[1] <= below[0] for above, below in itertools.pairwise(present))
    assert present[0][0] >= 0
    assert present[-1][1] <= lanes.height
    # light, links, people, limit labels, outing and rows of inhibits; then what was asked for
    assert len(present) == 1 + 3 + 4 + 2 + 1 + 2 + 4 * ghosts + len(marked)


def test_nothing_but_the_gutter_lies_between_the_crew():
    lanes = lay_out(["EV1", "EV2"], [], [], with_ghosts=True, with_findings=["EV1", "EV2"])
    upper, lower = lanes.crew
    assert upper.findings.bottom <= upper.main.top
    assert lower.main.bottom <= lower.findings.top
    assert lower.main.top - upper.main.bottom >= 30  # room for an arrow
