"""What moved between two plans."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd

from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.network import LOGGED
from planning_kit.plan.timed import TimedPlan

COMPARE_COLUMNS = ["step", "title", "change", "crew_a", "crew_b", "start_a_min", "start_b_min", "moved_min",
                   "held_by_a", "held_by_b"]


def compare(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """Steps that differ from plan ``a`` to plan ``b``, by start; empty when nothing moved.

    ``change``: ``later``, ``earlier``, ``changed`` (same start; other crew, place, length or holder),
    ``added`` or ``dropped``. Times in PET minutes of each plan's own egress; ``moved_min`` is b minus a.
    """
    before, after = _by_step(a), _by_step(b)
    both = before.add_suffix("_a").join(after.add_suffix("_b"), how="outer")
    both = both.rename(columns={"start_a": "start_a_min", "start_b": "start_b_min"})
    both["moved_min"] = both["start_b_min"] - both["start_a_min"]
    both["change"] = [_change(row) for row in both.to_dict("records")]
    both["title"] = both["title_b"].fillna(both["title_a"])
    moved = both[both["change"] != ""].reset_index(names="step")
    moved["at"] = moved["start_b_min"].fillna(moved["start_a_min"])
    text = ["crew_a", "crew_b", "held_by_a", "held_by_b"]
    moved[text] = moved[text].fillna("")
    ordered = moved.sort_values(["at", "step"], kind="stable")[COMPARE_COLUMNS]
    return TextTable(ordered.reset_index(drop=True))


def _by_step(plan: TimedPlan) -> pd.DataFrame:
    rows = [
        {"step": step.step, "title": step.title, "crew": step.crew, "place": step.place,
         "minutes": plan.durations[i], "start": plan.starts[i], "held_by": plan.holders.chosen[i].text}
        for i, step in enumerate(plan.steps)
    ]
    columns = ["step", "title", "crew", "place", "minutes", "start", "held_by"]
    return pd.DataFrame(rows, columns=columns).set_index("step")


_AS_LOGGED = {f"{LOGGED}:start"}


def _change(row: dict[Hashable, Any]) -> str:
    if pd.isna(row["start_a_min"]):
        return "added"
    if pd.isna(row["start_b_min"]):
        return "dropped"
    if row["moved_min"] != 0:
        return "later" if row["moved_min"] > 0 else "earlier"
    names = ["crew", "place", "minutes"]
    if not {row["held_by_a"], row["held_by_b"]} & _AS_LOGGED:  # that it has happened is no change of it
        names.append("held_by")
    same = all(row[f"{name}_a"] == row[f"{name}_b"] for name in names)
    return "" if same else "changed"
