"""Records in force as tables for the estimates: one row each, sorted by time and identifier, units in the names."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from .. import dictionary
from . import brix

BASE = ["id", "plot", "round", "taken_at", "day", "confirmed", "install"]


def tables(rows: list[dict], living: set[str], zone: ZoneInfo) -> dict[str, pd.DataFrame]:
    """Kind → DataFrame with BASE columns and the kind's own fields (numbers as float, NaN where not noted)."""
    by_kind: dict[str, list[dict]] = {kind: [] for kind in dictionary.kinds()}
    for row in rows:
        if row["id"] in living and row["taken_fixed"] and row["kind"] in by_kind:
            by_kind[row["kind"]].append(row)
    return {kind: _table(kind, part, zone) for kind, part in by_kind.items()}


def _table(kind: str, rows: list[dict], zone: ZoneInfo) -> pd.DataFrame:
    rows = sorted(rows, key=lambda r: (r["taken_fixed"], r["id"]))
    own = [json.loads(r["fields"]) for r in rows]
    times = [datetime.fromisoformat(r["taken_fixed"]) for r in rows]
    data: dict[str, Any] = {
        "id": [r["id"] for r in rows], "plot": [r["plot"] for r in rows], "round": [r["round"] for r in rows], "taken_at": pd.to_datetime(times, utc=True) if times else [],
        "day": [t.astimezone(zone).date() for t in times], "confirmed": [bool(r["confirmed"]) for r in rows], "install": [r["install"] for r in rows]}
    for f in dictionary.fields(kind):
        values = [o.get(f.name) for o in own]
        if f.type in ("number", "whole", "yes_no"):
            data[f.name] = np.array([np.nan if v is None or v == "" else float(v) for v in values], float)
        else:
            data[f.name] = pd.Series([v if v not in ("", None) else None for v in values], dtype=object)
    frame = pd.DataFrame(data, columns=[*BASE, *(f.name for f in dictionary.fields(kind))])
    for name in ("id", "plot", "round", "day", "install"):
        frame[name] = frame[name].astype(object)
    return frame


def readings(found: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Readings with their round's instrument and ATC, and °Brix at 20 °C with the sd and tag of its correction."""
    frame, rounds = found["reading"].copy(), found["round"]
    by_round = rounds.drop_duplicates("round").set_index("round") if len(rounds) else rounds.set_index("round")
    for name in ("instrument", "atc", "crew"):
        frame[name] = frame["round"].map(by_round[name]) if len(rounds) else None
    for name in ("atc_low_c", "atc_high_c"):
        frame[name] = frame["round"].map(by_round[name]).astype(float) if len(rounds) else np.nan
    atc = frame["atc"].map({"yes": 1.0, "no": 0.0}).astype(float)
    value, sd, tag = brix.correct_many(frame["brix_raw_deg"].to_numpy(), frame["juice_temp_c"].to_numpy(), atc.to_numpy(), frame["atc_low_c"].to_numpy(), frame["atc_high_c"].to_numpy())
    frame["brix20_deg"], frame["brix20_sd_deg"], frame["brix_tag"] = value, sd, [brix.TAGS[int(t)] for t in tag]
    return frame


def loads(found: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Loads with the laboratory's ART joined by load id or scale ticket; net from gross − tare where only those came."""
    frame, labs = found["load"].copy(), found["lab"]
    net = frame["net_kg"].to_numpy()
    frame["net_kg"] = np.where(np.isfinite(net), net, frame["gross_kg"].to_numpy() - frame["tare_kg"].to_numpy())
    by_load = {k: i for i, k in enumerate(labs["load"]) if k}
    by_ticket = {k: i for i, k in enumerate(labs["ticket"]) if k}
    where = [by_load.get(i, by_ticket.get(t)) for i, t in zip(frame["id"], frame["ticket"])]
    frame["art_percent"] = np.array([labs["art_percent"].iat[w] if w is not None else np.nan for w in where], float)
    frame["lab_name"] = pd.Series([labs["lab_name"].iat[w] if w is not None else None for w in where], dtype=object)
    frame["lab_day"] = pd.Series([labs["day"].iat[w] if w is not None else None for w in where], dtype=object)
    return frame
