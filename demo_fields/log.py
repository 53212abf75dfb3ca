"""The log of records as the phones of the demo made it: identifiers, sequences, places, CSV columns."""

from __future__ import annotations

from datetime import datetime, timedelta

from demo_fields import layout
from demo_fields.planting import Plot
from demo_fields.streams import Luck, uuid7
from webapp.dictionary import csv_headings, kinds

PHONES = ("muestreo-1", "muestreo-2", "agronomia", "Los Tordos", "Los Mezquites", "La Cuadrilla de Chema", "Los de la Loma", "oficina")
WIPED = {"muestreo-1": datetime.fromisoformat("2026-03-09T00:00:00-06:00")}   # this phone was set up anew: a new install, its sequence from one


class Log:
    """Records in the making. A record is a dict of its CSV row; ``made`` keeps when it was really taken and on which phone."""

    def __init__(self) -> None:
        self.rows: list[dict] = []
        self._order: dict[str, tuple[datetime, int]] = {}
        self._luck = Luck("record ids")
        names = Luck("installs")
        self._installs = {name: uuid7(1_747_000_000_000 + 1000 * i, names) for i, name in enumerate(PHONES)}
        self._again = {name: uuid7(int(day.timestamp() * 1000), names) for name, day in WIPED.items()}

    def install(self, phone: str, at: datetime) -> str:
        return self._again[phone] if phone in WIPED and at >= WIPED[phone] else self._installs[phone]

    def add(self, kind: str, phone: str, at: datetime, plot: Plot | None, *, round: str = "", here: Luck | None = None, replaces: str = "",
            confirmed: int = 0, clock: datetime | None = None, **fields) -> dict:
        """``clock`` is what a phone with a wrong clock wrote instead of ``at``; ``here`` draws a place inside the plot."""
        shown = clock or at
        row = {"id": uuid7(int(shown.timestamp() * 1000), self._luck), "install": self.install(phone, at), "seq": 0, "round": round, "kind": kind,
               "plot": plot.code if plot else "", "taken_at": shown.isoformat(timespec="seconds"), "lat": "", "lon": "", "accuracy_m": "", "confirmed": confirmed,
               "replaces": replaces, **fields}
        if kind == "round":
            row["round"] = row["id"]   # as the phone does
        if here and plot:
            row |= place(plot, here)
        self._order[row["id"]] = (at, len(self.rows))
        self.rows.append(row)
        return row

    def when(self, row: dict) -> datetime:
        return self._order[row["id"]][0]

    def tables(self) -> dict[str, tuple[list[str], list[dict]]]:
        """Columns and rows by kind, in the order they were made, with each install's sequence without holes."""
        self.rows.sort(key=lambda r: self._order[r["id"]])
        last: dict[str, int] = {}
        for row in self.rows:
            row["seq"] = last[row["install"]] = last.get(row["install"], 0) + 1
        found = {}
        for kind in kinds():
            rows = [r for r in self.rows if r["kind"] == kind]
            if rows:
                found[kind] = (csv_headings(kind), rows)
        return found


def place(plot: Plot, luck: Luck) -> dict:
    """A spot well inside the plot, as a phone would give it."""
    x, y = layout.middle(plot.corners)
    corner = luck.pick(plot.corners)
    share = luck.uniform(0.1, 0.75)
    lon, lat = layout.lonlat((x + share * (corner[0] - x), y + share * (corner[1] - y)))
    return {"lat": f"{lat:.5f}", "lon": f"{lon:.5f}", "accuracy_m": luck.whole(4, 14)}


def minutes(n: float) -> timedelta:
    return timedelta(seconds=round(60 * n))
