"""An outing with hazards of every form, made of the small one."""

from __future__ import annotations

import pandas as pd

import planning_kit as pk

ATTACK = "<img src=x onerror=\"window.harmed='yes'\">&lt;$x$"

HAZARDS = [
    {"hazard": "MAST", "title": f"Mast may turn {ATTACK}", "class": "warning", "zones": "mast",
     "limit": "keep_out", "controls": "I-LMP", "source": "demo value"},
    {"hazard": "VENT", "title": "Cassette vents", "class": "note", "places": "POR",
     "when": "item:cassette@POR", "limit": "total", "limit_min": 40, "applies_to": "EV2"},
    {"hazard": "HORN", "title": "Antenna beam", "class": "caution", "x_m": 4, "y_m": 5, "z_m": 0,
     "radius_m": 2.5, "limit": "stay", "limit_min": 5, "when": "day and off:I-LMP"},
    {"hazard": "COLD", "title": "Cold rail", "class": "warning", "routes": "HAT:POR", "limit": "no_contact",
     "when": "beta>30", "controls": "I-LMP | I-AUX"},
    {"hazard": "HOT", "title": "Hot rail", "class": "caution", "places": "MID", "limit": "no_contact",
     "when": "abs(beta)>75"},
]


def hazardous(small: pk.Scenario) -> pk.Scenario:
    """The small outing with a zone, classes, two inhibits of which one is confirmed, and ``HAZARDS``."""
    places = small.places.assign(zone=["", "", "mast", ""], caution_class=["", "", "warning", "note"])
    places.loc[3, "caution"] = "Look out for loose foil"
    inhibits = pd.concat([
        small.inhibits.assign(safe_after_min=4.5, confirmed_by="C1", restore_min=20.4),
        pd.DataFrame([{"inhibit": "I-AUX", "title": "Auxiliary bus off", "owner": "Ground desk",
                       "from_step": "C1", "until_step": "C3", "lead_min": 2}])], ignore_index=True)
    routes = small.routes.assign(caution=["", "Cable across the rail", ""], caution_class=["", "warning", ""])
    hazards = pd.DataFrame(HAZARDS, columns=small.hazards.columns)
    return small.with_tables({"places": places, "routes": routes, "inhibits": inhibits, "hazards": hazards},
                             {"checks.body_m": 0.8})
