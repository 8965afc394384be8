"""Invented outings: what the log of a plan says when steps take longer or shorter than likely."""

from __future__ import annotations

import random

import numpy as np
import pandas as pd

import planning_kit as pk
from planning_kit.plan.network import on_grid
from planning_kit.plan.timing import earliest_starts

COLUMNS = ["step", "event", "at", "remaining_min"]


def log_of(plan: pk.Plan, starts: np.ndarray, finishes: np.ndarray, until_min: float) -> pd.DataFrame:
    """Started and finished of every step up to ``until_min``, PET minutes."""
    rows: list[tuple[float, int, str, str]] = []
    for number, step in enumerate(plan.timed.steps):
        if starts[number] <= until_min:
            rows.append((float(starts[number]), number, step.step, "started"))
            if finishes[number] <= until_min:
                rows.append((float(finishes[number]), number, step.step, "finished"))
    ordered = sorted(rows, key=lambda row: row[0])  # stable: a step of no length starts before it finishes
    cells = [(step, event, at, "") for at, _, step, event in ordered]
    return pd.DataFrame(cells, columns=COLUMNS)


def as_planned(plan: pk.Plan, until_min: float) -> pd.DataFrame:
    """The log of an outing that goes just as planned."""
    return log_of(plan, plan.timed.starts, plan.timed.finishes, until_min)


def rehearsed(plan: pk.Plan, seed: int, until_min: float, slower: float = 1.3) -> pd.DataFrame:
    """The log of an outing in which every step takes 0.8 to ``slower`` times its likely duration."""
    draw = random.Random(seed)
    minutes = on_grid(plan.timed.durations * [draw.uniform(0.8, slower) for _ in plan.timed.steps])
    starts = earliest_starts(plan.timed.network, minutes)
    return log_of(plan, starts, starts + minutes, until_min)


def carried_on(plan: pk.Plan, log: pd.DataFrame, until_min: float) -> pd.DataFrame:
    """The log of a re-timed plan, and what the calls would be up to a minute if all goes on as re-timed."""
    later = log_of(plan, plan.timed.starts, plan.timed.finishes, until_min)
    known = set(zip(log["step"], log["event"], strict=True))
    news = [(step, event) not in known for step, event in zip(later["step"], later["event"], strict=True)]
    return pd.concat([log, later[news]], ignore_index=True)
