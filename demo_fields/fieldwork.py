"""Eighteen months of field records, put together: visits, field work, cutting, and the faults among them."""

from __future__ import annotations

import json

from demo_fields import labors, layout, rounds, visits
from demo_fields.faults import Faults
from demo_fields.history import Campaign, Load
from demo_fields.log import Log, minutes
from demo_fields.planting import TODAY, Plot
from demo_fields.streams import Luck


def fieldwork(plots: list[Plot], campaigns: list[Campaign], loads: list[Load], faults: Faults) -> dict:
    """CSV columns and rows by kind of record."""
    log, busy = Log(), {}
    for c in campaigns:
        busy.setdefault(c.plot.code, []).append((c.start, c.end or TODAY))
    doubted = faults.wrong_years(plots) | {faults.missing_date(plots)}
    calls = visits.plan(plots, busy)
    heads = [rounds.visit(log, call) for call in calls]
    rounds.check_years(log, calls, doubted)
    made = labors.trucks(log, loads)
    labors.sugars(log, made)
    labors.marks(log, campaigns, plots)
    labors.lost(log, plots, campaigns)
    labors.field_work(log, plots)
    labors.remarks(log, calls)
    _walk(log, calls)
    faults.in_records(log, heads, {p.code: p for p in plots}, made)
    return log.tables()


def _walk(log: Log, calls) -> None:
    """Two boundaries walked again with a phone's accuracy."""
    luck = Luck("walks")
    for call in (calls[40], calls[-60]):
        walked = []
        for (x1, y1), (x2, y2) in zip(call.plot.corners, (*call.plot.corners[1:], call.plot.corners[0])):
            walked += [layout.lonlat((x1 + t * (x2 - x1) + luck.normal(0, 2.0), y1 + t * (y2 - y1) + luck.normal(0, 2.0))) for t in (0.0, 0.33, 0.67)]
        geometry = {"type": "Polygon", "coordinates": [walked + [walked[0]]]}
        log.add("outline", call.team, call.at + minutes(48), call.plot, here=luck, geometry=json.dumps(geometry, separators=(",", ":")), walk_minutes=luck.whole(18, 34))
