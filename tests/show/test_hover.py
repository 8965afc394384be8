from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from planning_kit.inputs.table_words import held_words
from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import Activity
from planning_kit.show.chart_rows import (
    Words,
    activity_lines,
    findings_text,
    ghost_line,
    handover_text,
)

NAN = float("nan")
WORDS = Words(datetime(2031, 5, 14, 11, 20, tzinfo=UTC), places={"TIP": "Arm tip", "AIR": "Airlock"},
              tasks={"REG": "Power regulator exchange"}, actors={"DESK": "Ground desk"})


def activity(**changes):
    row = {"crew": "EV1", "kind": "work", "step": "B4", "task": "REG", "title": "Swap the regulator",
           "place": "TIP", "to_place": "", "start_min": 127.0, "finish_min": 145.0, "slack_to_plan_min": 0.0,
           "slack_to_limit_min": 31.0, "slack_to_window_min": 4.0, "held_by": "light:night-2"}
    return Activity(**(row | changes))


def read(told):
    """Hover text, or its lines, as one line."""
    return told.replace("<br>", " ") if isinstance(told, str) else " ".join(told)


def test_work_reads_like_a_sentence():
    assert read(activity_lines(activity(), WORDS)) == (
        "EV1, 2:07 to 2:25 (18 min): B4 Swap the regulator at Arm tip. "
        "Starts when night 2 begins; slack to plan 0:00, to limit 0:31, to window 0:04. "
        "Task REG: Power regulator exchange. GMT 134/13:27 to 134/13:45.")


def test_travel_names_both_ends_and_what_it_is_for():
    row = activity(kind="travel", place="AIR", to_place="TIP", finish_min=131.5, held_by="")
    assert read(activity_lines(row, WORDS)).startswith(
        "EV1, 2:07 to 2:12 (4.5 min): Travel from Airlock to Arm tip for B4. GMT")


def test_a_wait_says_for_what():
    row = activity(kind="wait", title="Wait for night 2")
    assert read(activity_lines(row, WORDS)).startswith(
        "EV1, 2:07 to 2:25 (18 min): Wait for night 2 at Arm tip, then B4. GMT")


def test_an_actor_has_a_title_and_no_place():
    row = activity(crew="DESK", place="", slack_to_window_min=float("inf"))
    text = read(activity_lines(row, WORDS))
    assert text.startswith("DESK (Ground desk), 2:07 to 2:25 (18 min): B4 Swap the regulator. ")
    assert "to window" not in text  # no window downstream: the slack has no end


@pytest.mark.parametrize(("held_by", "words"), [
    ("light:night-2", "Starts when night 2 begins"),
    ("after:B3", "Starts when B3 is finished"),
    ("partner:EV2", "Starts when EV2 is ready too"),
    ("order:B3", "Starts as soon as B3 is done"),
    ("order:pet_zero", "Nothing but PET 0 holds it"),
    ("window:quiet", "Starts when the window quiet opens"),
    ("group:exchange", "Starts when its whole group exchange fits in one window"),
    ("min_gap:B3", "Starts the least time after B3"),
    ("max_gap:B7", "Starts no earlier, so that B7 can follow in time"),
    ("", ""),
    ("novel:thing", "novel:thing"),
])
def test_what_holds_a_start_in_words(held_by, words):
    assert held_words(held_by) == words


def test_ghosts_say_how_far_a_step_moved_and_who_does_it_now():
    text = read(ghost_line(activity(), [activity(start_min=121.0, finish_min=139.0, crew="EV2")], WORDS))
    assert text == ("EV1, baseline 2:07 to 2:25 (18 min): B4 Swap the regulator. Starts 6 min earlier now. "
                    "Now done by EV2.")


def test_handovers_say_who_gives_what_to_whom():
    row = {"from_crew": "EV1", "to_crew": "EV2", "from_step": "B4", "to_step": "C1", "from_min": 145.0,
           "to_min": 160.0}
    item = SimpleNamespace(**row, what="old-reg")
    assert read(handover_text(item)) == "EV1 B4 leaves old-reg at 2:25; EV2 C1 has it from 2:40."
    order = SimpleNamespace(**row, what="after")
    assert read(handover_text(order)) == "EV2 C1 (2:40) comes after EV1 B4 (done 2:25)."


def test_findings_name_check_place_time_and_source():
    found = Finding("stop", "tethers", "reach", "MID", "EV1", "B4", 127.0, "18 m of 16 m", "crew.csv")
    assert read(findings_text([found])) == "STOP tethers (EV1 B4, 2:07): 18 m of 16 m [crew.csv]"


def test_a_long_list_of_findings_is_cut_and_says_so():
    found = [Finding("remark", f"c{n}", message="m") for n in range(9)]
    assert read(findings_text(found)).endswith("REMARK c5: m ... and 3 more here")


def test_markup_in_a_title_is_shown_not_read():
    text = handover_text(SimpleNamespace(
        from_crew="EV1", from_step="B4", to_crew="EV2", to_step="C1", from_min=1.0, to_min=2.0,
        what="<b>bold</b> $x$ & <img src=x onerror=1>"))
    assert "&lt;b&gt;bold&lt;/b&gt; &#36;x&#36; &amp;" in text
    assert "<img" not in text
