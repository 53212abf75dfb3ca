"""The demo's answers against its truth: how often an interval holds what is really so, and which planted faults were found."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from ..answers import Answer
from ..crop import service as crop
from ..database import Database, rows
from ..land import service as land
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..tonnage import service as tonnage

AHEAD_WEEKS = (0, 13, 26, 52, 104)
LAND_FAULTS = ("bow_tie_outline", "overlapping_outlines", "duplicate_code")
ROUNDING = 0.005  # truth is written with few digits; an interval that shuts at 0 or 1 must not miss it for that


def truth(db: Database, folder: Path) -> dict[str, dict[str, str]]:
    """What is really so, by plot, when the estate is the demo of that folder; nothing for any other."""
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as file:
        true = {row["code"]: row for row in csv.DictReader(file)}
    return true if set(land.plots(db).index) <= set(true) else {}


def coverage(db: Database, true: dict[str, dict[str, str]]) -> dict[str, dict[str, float]]:
    """Weeks ahead (``"0"`` … ``"104"``) → share of plots whose true value lies inside the interval stated today.

    ``brix80``, ``brix95`` of the plot's mean °Brix, ``share80`` of its ripe share, ``tonnes80`` of its standing
    tonnes, ``plants80`` of its standing plants (today); ``brix_bias_deg`` and ``tonnes_bias`` are mean errors
    (answer minus truth; tonnes as a share of the truth's total).
    """
    ripe, stand, field = ripeness.answer(db), tonnage.answer(db), crop.answer(db)
    codes = [code for code in ripe.meta["plots"] if code in true]
    at, stand_at, field_at = (np.array([a.meta["plots"].index(code) for code in codes]) for a in (ripe, stand, field))

    def real(name: str) -> np.ndarray:
        return np.array([float(true[code][name]) for code in codes])

    def within(a: Answer, place: np.ndarray, low: str, high: str, week: int, value: np.ndarray, slack: float = 0.0) -> float:
        return float(np.mean((a.arrays[low][place, week] - slack <= value) & (value <= a.arrays[high][place, week] + slack)))

    out = {}
    for week in AHEAD_WEEKS:
        when = "today" if week == 0 else f"{week}w"
        brix, share, mass = real(f"brix_{when}_deg"), real(f"share_{when}"), real("standing_t" if week == 0 else f"standing_{when}_t")
        out[str(week)] = {
            "brix80": within(ripe, at, "lo80", "hi80", week, brix), "brix95": within(ripe, at, "lo95", "hi95", week, brix),
            "share80": within(ripe, at, "share_lo", "share_hi", week, share, ROUNDING), "tonnes80": within(field, field_at, "tonnes_lo", "tonnes_hi", week, mass),
            "brix_bias_deg": float(np.mean(ripe.arrays["mean_deg"][at, week] - brix)), "tonnes_bias": float(field.arrays["tonnes"][field_at, week].sum() / mass.sum() - 1)}
    plants = real("standing_plants")
    told = [stand.meta["by_plot"][code]["plants"] for code in codes]
    out["0"] |= {"plants80": float(np.mean([p["low"] <= v <= p["high"] for p, v in zip(told, plants)])), "plots": float(len(codes))}
    return out


def faults(db: Database, folder: Path) -> dict[str, object]:
    """Planted faults found and missed, and findings that name nothing planted (nor hang on a faulty round)."""
    land_file = folder / "plots.geojson"
    with (folder / "faults.csv").open(encoding="utf-8", newline="") as file:
        planted = list(csv.DictReader(file))
    waiting = {(f.code, f.subject.rsplit(", ", 1)[-1]) for f in land.read(land_file.read_bytes(), land_file.name).findings if f.blocks}
    told = [(h["code"], h["id"]) for h in survey.held(db)] + [(d["code"], d["record"].removeprefix("plot:")) for d in survey.doubts(db)]
    wanted = {(f["finding"], subject) for f in planted for subject in (f["subject"].split() if f["fault"] in LAND_FAULTS else [f["subject"]])}
    found = wanted & (waiting | set(told))
    subjects = {subject for _, subject in wanted}
    round_of = {row["id"]: row["round"] for row in rows(db, "SELECT id, round FROM record")}
    alarms = [name for _, name in told if name not in subjects and round_of.get(name) not in subjects] + [code for _, code in waiting if code not in subjects]
    return {"planted": len(wanted), "found": len(found), "missed": sorted(" ".join(pair) for pair in wanted - found), "false_alarms": sorted(alarms)}
