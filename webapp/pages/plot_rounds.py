"""A plot's rounds as its page shows them: what was read and how, what it was held against, what is in doubt or does not count."""

from __future__ import annotations

from datetime import date
from typing import Any, Callable

import numpy as np
import pandas as pd

from .layout import n1, n2, words
from .picture_curve import Round

ODD_SDS, FAR_PLANT_SDS = 2.0, 3.5
"""A round is called odd from so many sds of a visit's error off the curve, a plant from so many of the plants' spread off its round."""
MOST_SHOWN, OPEN_ROUNDS = 60, 5
SHOWN = ["id", "install", "row", "plant", "brix_raw_deg", "juice_temp_c", "brix20_deg"]


def rounds_of(mine: pd.DataFrame, heads: pd.DataFrame, left: list[dict], doubts: list[dict], look: dict[str, Any]) -> list[dict[str, Any]]:
    """Newest first; every round with readings in use, and those of which nothing counts.

    ``mine`` readings of the plot in force, ``heads`` its round records, ``left`` what does not count, ``doubts`` open ones.
    """
    about: dict[str, list[dict]] = {}
    for doubt in doubts:
        for name in named(doubt):
            about.setdefault(name, []).append(doubt)
    heads = {row["round"] or row["id"]: row for row in heads.to_dict("records")}
    curve_at = np.array([d.toordinal() for d in look["days"]], float)
    out: dict[str, dict[str, Any]] = {}
    good = mine[mine["brix20_deg"].notna()]
    for key, part in good.groupby(good["round"].where(good["round"].notna(), good["day"].astype(str)), sort=False):
        head, readings = heads.get(key, {}), part[SHOWN].to_dict("records")
        day, n, mean = part["day"].iloc[0], len(part), float(part["brix20_deg"].mean())
        expected, plant_sd = (float(np.interp(day.toordinal(), curve_at, look["curve"][name])) for name in ("mean_deg", "plant_sd_deg"))
        known = float(part["brix20_sd_deg"].mean())
        middle = float(part["brix20_deg"].median())
        told = list({(d["code"], d["record"]): d for name in dict.fromkeys((head.get("id", ""), key, *(r["id"] for r in readings))) for d in about.get(name, [])}.values())  # once a round, of however many readings it speaks
        off, usual = mean - expected, (look["visit_sd_deg"] ** 2 + plant_sd**2 / n + known**2) ** 0.5
        out[key] = {
            "day": day, "n": n, "mean": mean, "spread": float(part["brix20_deg"].std()) if n > 1 else None, "known": known, "raw": float(part["brix_raw_deg"].mean()), "temp": _mean(part["juice_temp_c"]),
            "instrument": _first(part["instrument"]), "atc": _first(part["atc"]), "crew": _first(part["crew"]), "people": head.get("people"), "zero": _number(head.get("zero_check_deg")),
            "drill": head.get("drill_height"), "tags": sorted(set(part["brix_tag"])), "record": head.get("id"), "doubts": told, "expected": expected, "off": off,
            "odd": abs(off) > ODD_SDS * usual, "state": "doubted" if told else "odd" if abs(off) > ODD_SDS * usual else "used", "out": [],
            "readings": [{**r, "far": n > 3 and abs(r["brix20_deg"] - middle) > FAR_PLANT_SDS * plant_sd, "corrected": r["install"] == "office", "doubted": r["id"] in about,
                          "row": _number(r["row"]), "plant": _number(r["plant"]), "juice_temp_c": _number(r["juice_temp_c"])} for r in readings]}
    for row in left:
        if row["why"] == "replaced":
            continue  # what took its place is shown; the old value is in its history
        key = row["round"] or (row["id"] if row["kind"] == "round" else str(row["day"]))
        entry = out.setdefault(key, {"day": row["day"], "n": 0, "mean": None, "state": row["why"], "out": [], "readings": [], "doubts": about.get(key, []), "record": None, "tags": []})
        if row["kind"] == "reading":
            entry["out"].append(row)
        elif not entry["n"]:
            entry |= {"record": row["id"], "state": row["why"]}
    found = sorted(out.values(), key=lambda r: r["day"] or date.min, reverse=True)[:MOST_SHOWN]
    return [{**one, "place": i + 1, "open": i < OPEN_ROUNDS or one["state"] != "used" or bool(one["out"]) or any(r["far"] or r["corrected"] for r in one["readings"])} for i, one in enumerate(found)]


def drawn(rounds: list[dict[str, Any]], since: date) -> list[Round]:
    """The rounds of the picture, each with the two or three lines it shows when pointed at."""
    out = []
    for one in rounds:
        if not one["n"] or one["day"] < since:
            continue
        lines = (words("pages.plot.tip", day=one["day"], n=one["n"], mean=n1(one["mean"]), known=n2(one["known"])),
                 words("pages.plot.tip_how", raw=n1(one["raw"]), temp=n1(one["temp"]), instrument=one["instrument"] or "–", atc=atc_words(one["atc"]), zero=n1(one["zero"]), crew=_who(one)),
                 words("pages.plot.tip_off", off=signed(one["off"]), state=words(f"pages.plot.state.{one['state']}")))
        out.append(Round(one["day"], one["mean"], [r["brix20_deg"] for r in one["readings"]], one["state"], lines, ". ".join(lines)))
    return out[::-1]


def left_points(rounds: list[dict[str, Any]], since: date, today: date) -> list[tuple[date, float]]:
    """Readings that do not count, as read, where their day lies in the drawn past."""
    return [(r["day"], r["brix_raw_deg"]) for one in rounds for r in one["out"] if r["brix_raw_deg"] is not None and r["day"] and since <= r["day"] <= today]


def _who(one: dict[str, Any]) -> str:
    return ", ".join(v for v in (one["crew"], one["people"]) if v) or "–"


def atc_words(value: str | None) -> str:
    return words(f"pages.plot.atc.{value if value in ('yes', 'no') else 'unknown'}")


def signed(value: float | None) -> str:
    """With its sign, also where it is small."""
    return "–" if value is None or value != value else ("+" if value >= 0.05 else "") + n1(value)


def plot_doubts(doubts: list[dict], code: str, rounds: set[str], living: Callable[[], set[str]]) -> list[dict]:
    """Open doubts that name the plot, or one of its ``rounds`` among others; of records still in force (one just corrected is no longer doubted)."""
    mine = [d for d in doubts if code in (d["params"].get("plot"), d["params"].get("other")) or d["record"] == f"plot:{code}" or named(d) & rounds]
    there = living() if any(d["is_record"] for d in mine) else set()
    return [d for d in mine if not d["is_record"] or d["record"] in there]


def named(doubt: dict) -> set[str]:
    """Every record or round that a doubt speaks of."""
    proposal = doubt["proposal"] or {}
    return {doubt["record"], *(v for v in (doubt["params"].get("second"), proposal.get("swap_with")) if v), *proposal.get("void_readings_of", ()), *proposal.get("void_records", ()), *proposal.get("scale_records", ()), *proposal.get("of_rounds", ())}


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) and value == value else None


def _mean(column: pd.Series) -> float | None:
    return float(column.mean()) if column.notna().any() else None


def _first(column: pd.Series) -> str | None:
    return next((v for v in column if isinstance(v, str) and v), None)

