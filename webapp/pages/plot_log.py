"""What was done, counted, weighed, cut and noted in a plot, day by day: one line of marks under the curve, one table."""

from __future__ import annotations

from datetime import date
from typing import Any, Callable

import pandas as pd

from ..database import Database
from ..dictionary import choice_label
from ..survey import service as survey
from .layout import n0, n1, pct, words
from .picture_curve import Mark, Step

LANES = {"labor": 0, "loss": 1, "row_count": 2, "weighing": 2, "age_check": 2, "marking": 3, "load": 3, "order_done": 3, "remark": 4, "photo": 4}
SHOWN = 8
"""So many days stand open; the older ones are folded."""


def entries(db: Database, code: str, language: str) -> list[dict[str, Any]]:
    """Newest first, one entry a day and kind: {day, kind, letter, label, records: [id], photos: [digest]}."""
    out = []
    for kind, tell in TELLERS.items():
        frame = survey.table(db, kind)
        frame = frame[frame["plot"] == code]
        for day, part in frame.groupby("day", sort=False):
            out.append({"day": day, "kind": kind, "label": tell(part, language), "records": list(part["id"]), "photos": []})
    photos = survey.photos(db)
    photos = photos[photos["plot"] == code]
    there = survey.photos_here(db, list(photos["digest"])) if len(photos) else set()
    for day, part in photos.groupby("day", sort=False):
        shown = [{"digest": d, "caption": c or ""} for d, c in zip(part["digest"], part["caption"]) if d in there]
        label = words("pages.plot.log.photos", n=len(part)) + "".join(f": {c}" for c in part["caption"] if c)
        out.append({"day": day, "kind": "photo", "label": label if len(shown) == len(part) else f"{label} ({words('pages.plot.log.photo_waits')})", "records": list(part["id"]), "photos": shown})
    for one in out:
        one["letter"] = words(f"pages.plot.letter.{one['kind']}")
    return sorted(out, key=lambda e: (e["day"], -LANES[e["kind"]]), reverse=True)


def marks(found: list[dict[str, Any]], since: date, until: date) -> list[Mark]:
    return [Mark(e["day"], e["letter"], LANES[e["kind"]], f"{_short(e['day'])}: {e['label']}") for e in found if since <= e["day"] <= until]


def lanes(found: list[dict[str, Any]], since: date, until: date) -> list[tuple[str, str]]:
    """(kind, letter) of what stands under the curve, for its key."""
    there = {e["kind"]: e["letter"] for e in found if since <= e["day"] <= until}
    return sorted(there.items(), key=lambda pair: list(LANES).index(pair[0]))


def steps(found: list[dict[str, Any]], since: date, until: date) -> list[Step]:
    """What the curve steps at, numbered as in the list under it."""
    shown = [one for one in found if since <= one["day"] <= until]
    return [Step(one["day"], i, words(f"pages.plot.step.{one['what']}", when=_when(one["day"], one["last"]), share=one.get("share"), sd_deg=one.get("sd_deg"))) for i, one in enumerate(shown, 1)]


def _when(day: date, last: date) -> str:
    return words("pages.plot.step.day" if day == last else "pages.plot.step.days", day=day, last=last)


def _short(day: date) -> str:
    return words("pages.plot.log.day", day=day)


def _labor(part: pd.DataFrame, language: str) -> str:
    said = []
    for row in part.to_dict("records"):
        name = choice_label("labor", "labor", row["labor"], language)
        more = [row["product"] or "", words("pages.plot.log.plants", n=int(row["plants"])) if _real(row["plants"]) else "",
                words("pages.plot.log.reentry", hours=n0(row["reentry_hours"])) if _real(row["reentry_hours"]) else "",
                words("pages.plot.log.harvest", days=n0(row["harvest_days"])) if _real(row["harvest_days"]) else ""]
        more = [m for m in more if m]
        said.append(f"{name} ({', '.join(more)})" if more else name)
    return "; ".join(said)


def _loss(part: pd.DataFrame, language: str) -> str:
    said = []
    for row in part.to_dict("records"):
        size = words("pages.plot.log.plants", n=int(row["plants"])) if _real(row["plants"]) else words("pages.plot.log.part", part=pct(row["area_share"])) if _real(row["area_share"]) else "–"
        said.append(words("pages.plot.log.loss", cause=choice_label("loss", "cause", row["cause"], language), size=size))
    return "; ".join(said)


def _counts(part: pd.DataFrame, language: str) -> str:
    standing, gaps = part["plants_standing"].sum(), part["gaps"].sum()
    sick = part[["sick_wilt", "sick_bud_rot", "sick_weevil"]].sum().sum()
    grade = part["sick_grade"].max()
    return words("pages.plot.log.counts", n=len(part), standing=n0(standing), gaps=pct(gaps / (standing + gaps)) if standing + gaps else "–", sick=n0(sick),
                 grade=n0(grade) if _real(grade) else "–", quiote=n0(part["quiote"].sum()), capon=n0(part["capon"].sum()))


def _weighings(part: pd.DataFrame, language: str) -> str:
    kg = part["mass_kg"].dropna()
    return words("pages.plot.log.weighings", n=len(part), mean=n1(kg.mean()), low=n1(kg.min()), high=n1(kg.max())) if len(kg) else words("pages.plot.log.weighings_empty", n=len(part))


def _ages(part: pd.DataFrame, language: str) -> str:
    return "; ".join(words("pages.plot.log.age", year=int(y)) for y in part["planting_year"].dropna().unique()) or "–"


def _markings(part: pd.DataFrame, language: str) -> str:
    return words("pages.plot.log.marked", n=int(part["marked_plants"].sum()))


def _loads(part: pd.DataFrame, language: str) -> str:
    net, plants, art = part["net_kg"], part["plants"], part["art_percent"].dropna()
    label = words("pages.plot.log.loads", n=len(part))
    weighed = part[(net > 0) & (plants > 0)]
    if (net > 0).any():
        label += ", " + words("pages.plot.log.loads_t", mass_t=n1(net.sum() / 1000))
    if len(weighed):
        label += ", " + words("pages.plot.log.loads_kg", kg=n1(weighed["net_kg"].sum() / weighed["plants"].sum()))
    if len(art):
        label += ", " + words("pages.plot.log.loads_art", art=n1(art.mean()))
    if not (net > 0).all():
        label += ", " + words("pages.plot.log.loads_waiting", n=int((~(net > 0)).sum()))
    return label + (", " + words("pages.plot.log.clearing") if (part["clearing"] == 1).any() else "")


def _orders(part: pd.DataFrame, language: str) -> str:
    return "; ".join(words("pages.plot.log.order", order=row["order"] or "–", plants=n0(row["plants"])) + (f": {row['why_not']}" if row["why_not"] else "") for row in part.to_dict("records"))


def _remarks(part: pd.DataFrame, language: str) -> str:
    return " / ".join(t for t in part["text"] if t)


def _real(value: Any) -> bool:
    return value is not None and value == value


TELLERS: dict[str, Callable[[pd.DataFrame, str], str]] = {
    "labor": _labor, "loss": _loss, "row_count": _counts, "weighing": _weighings, "age_check": _ages, "marking": _markings, "load": _loads, "order_done": _orders, "remark": _remarks}
