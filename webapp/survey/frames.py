"""Records in force as tables for the estimates: one row each, sorted by time and identifier, units in the names."""

from __future__ import annotations

import json
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from .. import dictionary
from . import brix
from . import record as rec

BASE = ["id", "plot", "round", "taken_at", "day", "confirmed", "install"]
FROM_ROUND = ("instrument", "atc", "crew", "atc_low_c", "atc_high_c")
SHOWN_TAGS = np.array(brix.TAGS, dtype=object)


class Kept(NamedTuple):
    """One kept record as the log stores it; ``fields`` is JSON text, ``taken_fixed`` UTC text to the millisecond."""

    n: int
    id: str
    install: str
    round: str | None
    kind: str
    plot: str | None
    taken_fixed: str
    confirmed: int
    replaces: str | None
    fields: str
    schema: int


def table(kind: str, rows: list[Kept], zone: ZoneInfo) -> pd.DataFrame:
    """BASE columns and the kind's own fields: numbers as float (NaN where not noted), texts as objects or None.

    ``taken_at`` is aware in UTC, ``day`` the date in the estate's zone.
    """
    rows = sorted(rows, key=lambda r: (r.taken_fixed, r.id))
    own = json.loads(f"[{','.join(r.fields for r in rows)}]")
    own = [o if r.schema >= rec.SCHEMA else rec.upcast(kind, o, r.schema) for r, o in zip(rows, own)]
    times = pd.DatetimeIndex(np.array([r.taken_fixed[:-1] for r in rows], dtype="datetime64[us]")).tz_localize("UTC")
    data: dict[str, Any] = {
        "id": _objects([r.id for r in rows]), "plot": _objects([r.plot for r in rows]), "round": _objects([r.round for r in rows]), "taken_at": times,
        "day": _objects(list(times.tz_convert(zone).date)), "confirmed": np.array([r.confirmed for r in rows], bool), "install": _objects([r.install for r in rows])}
    for f in dictionary.fields(kind):
        values = [None if (v := o.get(f.name)) == "" else v for o in own]
        if f.type in ("number", "whole", "yes_no"):
            data[f.name] = np.array([np.nan if v is None else v for v in values], float)
        else:
            data[f.name] = _objects(values)
    return pd.DataFrame(data)


def _objects(values: list) -> pd.Series:
    return pd.Series(values, dtype=object)


def readings(readings: pd.DataFrame, rounds: pd.DataFrame) -> pd.DataFrame:
    """Readings with their round's instrument and ATC, and °Brix at 20 °C with the sd and tag of its correction."""
    frame = readings.copy(deep=False)
    names = pd.Index(rounds["round"].where(rounds["round"].notna(), rounds["id"]))
    rounds = rounds[~names.duplicated(keep="last")]
    where = names[~names.duplicated(keep="last")].get_indexer(pd.Index(frame["round"]))
    for name in FROM_ROUND:
        column = rounds[name].to_numpy()
        empty = np.full(len(frame), np.nan) if column.dtype == float else np.full(len(frame), None, dtype=object)
        frame[name] = np.where(where >= 0, column[where], empty) if len(rounds) else empty
    atc = np.select([frame["atc"] == "yes", frame["atc"] == "no"], [1.0, 0.0], np.nan)
    value, sd, tag = brix.correct_many(*(frame[name].to_numpy() for name in ("brix_raw_deg", "juice_temp_c")), atc, frame["atc_low_c"].to_numpy(float), frame["atc_high_c"].to_numpy(float))
    frame["brix20_deg"], frame["brix20_sd_deg"], frame["brix_tag"] = value, sd, SHOWN_TAGS[tag]
    return frame


def loads(loads: pd.DataFrame, labs: pd.DataFrame) -> pd.DataFrame:
    """Loads with the laboratory's ART joined by load id or scale ticket; net from gross − tare where only those came."""
    frame = loads.copy(deep=False)
    net = frame["net_kg"].to_numpy()
    frame["net_kg"] = np.where(np.isfinite(net), net, frame["gross_kg"].to_numpy() - frame["tare_kg"].to_numpy())
    by_load = {name: i for i, name in enumerate(labs["load"]) if name}
    by_ticket = {name: i for i, name in enumerate(labs["ticket"]) if name}
    where = [by_load.get(name, by_ticket.get(ticket)) for name, ticket in zip(frame["id"], frame["ticket"])]
    frame["art_percent"] = np.array([labs["art_percent"].iat[w] if w is not None else np.nan for w in where], float)
    frame["lab_name"] = _objects([labs["lab_name"].iat[w] if w is not None else None for w in where])
    frame["lab_day"] = _objects([labs["day"].iat[w] if w is not None else None for w in where])
    return frame
