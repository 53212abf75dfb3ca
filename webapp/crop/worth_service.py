"""Visits worth making, as pages, phones and the command line tell them: one list, one round, from the stored answers."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from .. import answers, clock, settings
from ..answers import Answer
from ..database import Database, path_of
from ..land import service as land
from ..problems import Problem
from ..ripeness import constants as ripeness_constants
from ..ripeness import ripening
from ..ripeness import service as ripeness
from ..ripeness.readiness import Z80
from ..sentences import Sentence
from ..survey import service as survey
from ..weeks import monday_of
from . import day_round, visits_worth, walking
from . import service as crop

PLOTS_AT_ONCE, EVERY_WEEKS = 400, 2
MOST_BY_RATE, MOST_BY_GAIN = 100, 40
LITTLE = 0.12
"""Under this part of the better work's gain, a sample or a count is not told as worth the stop."""
_cache: dict[Any, tuple[str, "Board"]] = {}
_guard = threading.Lock()


@dataclass(frozen=True)
class Board:
    """What the answers say of every plot's next visit: codes, gains [P, 3] in parts of the estate's doubt, and what they are made of."""

    plots: tuple[str, ...]
    worth: visits_worth.Worth
    doubt: visits_worth.Doubt
    shared: visits_worth.Shared | None
    others_t: np.ndarray
    gain: np.ndarray
    pace: walking.Pace
    places: np.ndarray        # [P, 2] lat, lon; NaN where no outline
    open_way: np.ndarray      # [P] no road to it is closed this week
    last_visit: tuple[str | None, ...]


def key(db: Database) -> str:
    """What the list rests on."""
    ripe, tonnes = crop.basis(db, crop.answer(db))
    return answers.key_of(ripeness=ripe.key.replace(" ", ","), tonnage=tonnes.key.replace(" ", ","), settings=settings.load(db).version, land=land.version(db), closures=answers.version(db, "closures"),
                          today=clock.of(db).today().isoformat())


def board(db: Database) -> Board:
    """Made once for a key and kept in the process."""
    this, where = key(db), path_of(db) or id(db)
    with _guard:
        found = _cache.get(where)
    if found is None or found[0] != this:
        found = (this, _made(db))
        with _guard:
            _cache[where] = found
    return found[1]


def _made(db: Database) -> Board:
    ripe, tonnes = crop.basis(db, crop.answer(db))
    codes, s = ripe.meta["plots"], settings.load(db)
    frame = land.plots(db)
    known = _known(db, ripe, tonnes, frame)
    limits = ripeness.limits_of(ripe)
    w = visits_worth.worth(known, ripe.arrays["fit_residuals"], limits.target_brix_deg, limits.ripe_share_to_cut)
    shared = _shared(ripe, known, w) if len(codes) > 1 else None
    others = shared.all_others() if shared else np.zeros(len(codes))
    doubt = visits_worth.doubt_of(w, s["visit_window_weight"])
    pace = walking.Pace(**{name: float(s[name]) for name in walking.Pace.__dataclass_fields__ if name != "plants"}, plants=int(float(ripeness_constants.VISIT_PLANTS)))
    there = frame.reindex(codes)
    last = tuple(ripe.meta["by_plot"][code]["last_visit"] for code in codes)
    return Board(tuple(codes), w, doubt, shared, others, visits_worth.gains(w, doubt, others), pace, there[["lat", "lon"]].to_numpy(float).reshape(-1, 2), _open_way(db, there), last)


def _known(db: Database, ripe: Answer, tonnes: Answer, frame: Any) -> visits_worth.Known:
    """The two answers side by side; a plot that only one of them knows (a refit half done) weighs nothing in tonnes."""
    a, weeks = ripe.arrays, visits_worth.WINDOW_WEEKS
    at = {code: i for i, code in enumerate(tonnes.meta["plots"])}
    where = np.array([at.get(code, -1) for code in ripe.meta["plots"]], int)
    t = tonnes.arrays

    def of(values: np.ndarray) -> np.ndarray:
        return np.where((where >= 0).reshape(-1, *[1] * (values.ndim - 1)), values[where], 0.0) if len(values) else np.zeros((len(where), *values.shape[1:]))

    half = visits_worth.TONNES_WEEKS // 2
    spread = np.log(np.maximum(t["mass_hi"][:, half], 1e-9) / np.maximum(t["mass_t"][:, half], 1e-9)) / Z80
    counted = survey.row_counts(db).dropna(subset=["rows_in_plot"]).groupby("plot")["rows_in_plot"].last()
    rows = counted.reindex(ripe.meta["plots"]).to_numpy(float)
    side = np.sqrt(np.maximum(frame.reindex(ripe.meta["plots"])["area_ha"].to_numpy(float), 0.0) * 10_000) / np.maximum(frame.reindex(ripe.meta["plots"])["row_spacing_m"].to_numpy(float), 0.5)
    return visits_worth.Known(*(a[name][:, :weeks] for name in ("mean_deg", "sd_deg", "sd_after_visit_deg", "plant_sd_deg", "share")), (a["share_hi"] - a["share_lo"])[:, :weeks] / (2 * Z80),
                              of(t["mass_t"])[:, :weeks], of(np.clip(np.nan_to_num(spread), 0.0, 2.0)), of(np.clip(t["plants_sd"] / np.maximum(t["plants"], 1.0), 0.0, 2.0)), np.where(np.isfinite(rows), rows, side),
                              a["taken"][:, :weeks], a["ready"][:, :weeks])


def _shared(ripe: Answer, known: visits_worth.Known, w: visits_worth.Worth) -> visits_worth.Shared:
    """How today's readings and the tonnes of half a year lean on the estate's coefficients, some plots at a time."""
    model, ground, seen = ripeness.model_of(ripe)
    at = np.arange(0, visits_worth.TONNES_WEEKS, EVERY_WEEKS)
    days = np.array([monday_of(ripe.meta["weeks"][i]).toordinal() + 3 for i in at], float)
    slope = known.mass_t * known.share_sd / np.maximum(known.sd_deg, 1e-9)  # t per °Bx of the plot's mean
    sd = np.maximum(w.tonnes / (2 * Z80), 1e-6)
    size, plants = len(model.cov), float(ripeness_constants.VISIT_PLANTS)
    along, says, both = np.zeros((len(sd), size)), np.ones(len(sd)), np.zeros((size, size))
    for begin in range(0, len(sd), PLOTS_AT_ONCE):
        some = np.arange(begin, min(begin + PLOTS_AT_ONCE, len(sd)))
        f, land_of, seen_of = ripening.part(model, ground, seen, some)
        post = ripening.posterior(f, seen_of, land_of, f.about)
        out = ripening.ahead(f, post, days)
        d = ripening.shared(f, post, out, np.arange(len(some)))
        along[some] = d[:, 0]
        says[some] = out.var[:, 0] / out.wider[:, 0] ** 2 + ripening.visit_noise(f, out.age[:, 0], np.full(len(some), plants))
        b = (slope[some][:, at, None] * d).mean(axis=1)
        both += (b / (2 * sd[some])[:, None]).T @ b
    return visits_worth.Shared(model.cov, along, says, both)


def _open_way(db: Database, there: Any) -> np.ndarray:
    """[P] False where this week a closed road leads there."""
    monday = monday_of(clock.of(db).week())
    shut = [c for c in land.closures(db) if monday_of(c["from_week"]) <= monday <= monday_of(c["to_week"])]
    zones, plots = ({c["subject"] for c in shut if c["scope"] == scope} for scope in ("zone", "plot"))
    return np.array([code not in plots and zone not in zones for code, zone in zip(there.index, there["zone"])], bool)


def gate(db: Database) -> tuple[float, float] | None:
    """Where the crews start (setting «lat, lon»), or None."""
    found = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*[,; ]\s*(-?\d+(?:\.\d+)?)\s*", str(settings.load(db)["gate_place"]))
    if not found:
        return None
    lat, lon = map(float, found.groups())
    return (lat, lon) if abs(lat) <= 90 and abs(lon) <= 180 else None


def _start(db: Database, b: Board, start: str | None) -> tuple[float, float] | None:
    """Where the crew sets out: a plot, the gate, or in the middle of the plots."""
    if start is not None and start not in b.plots:
        raise Problem("plot_not_standing", where=start, status=404)
    place = tuple(b.places[b.plots.index(start)]) if start is not None else gate(db)
    if place and np.isfinite(place).all():
        return place
    placed = b.places[np.isfinite(b.places).all(axis=1)]
    return tuple(np.median(placed, axis=0)) if len(placed) else None


def _work_told(gain: np.ndarray) -> int:
    """Sample, count or both: what adds little to the other is left out."""
    if gain[visits_worth.BOTH] <= 0:
        return visits_worth.SAMPLE
    if gain[visits_worth.COUNT] < LITTLE * gain[visits_worth.BOTH]:
        return visits_worth.SAMPLE
    return visits_worth.COUNT if gain[visits_worth.SAMPLE] < LITTLE * gain[visits_worth.BOTH] else visits_worth.BOTH


def _row(b: Board, i: int, work: int, minutes: float) -> dict[str, Any]:
    w = b.worth
    weeks = float(w.weeks_gain[i]) if work != visits_worth.COUNT else 0.0
    tonnes, others = float(w.tonnes_gain[i, work]), float(b.others_t[i]) if work != visits_worth.COUNT else 0.0
    return {"code": b.plots[i], "work": visits_worth.WORK[work], "minutes": float(minutes), "gain_part": float(b.gain[i, work]), "gain_part_per_hour": float(60 * b.gain[i, work] / minutes) if minutes > 0 else 0.0,
            "window_weeks": float(w.weeks[i]), "window_weeks_after": float(w.weeks[i]) - weeks, "ripe_mass_width_t": float(w.tonnes[i]), "ripe_mass_width_after_t": float(w.tonnes[i]) - tonnes,
            "others_narrowed_t": others, "last_visit": b.last_visit[i], "way_open": bool(b.open_way[i]), "why": _why(b, i, work, weeks, tonnes)}


def _why(b: Board, i: int, work: int, weeks: float, tonnes: float) -> Sentence:
    """The reason in one sentence; a figure that would read the same before and after is left out."""
    w = b.worth
    params = {"weeks": float(w.weeks[i]) / 2, "weeks_after": (float(w.weeks[i]) - weeks) / 2, "mass_t": float(w.tonnes[i]) / 2, "mass_after_t": (float(w.tonnes[i]) - tonnes) / 2}
    told = tuple(round(params[name]) != round(params[f"{name.removesuffix('_t')}_after{'_t' if name.endswith('_t') else ''}"]) for name in ("weeks", "mass_t"))
    name = "count" if work == visits_worth.COUNT else "both" if all(told) else "window" if told[0] else "tonnes" if told[1] else "little"
    return Sentence(f"visits.why.{name}", {**params, "last": b.last_visit[i]})


def visits_worth_making(db: Database, n: int = 10, start: str | None = None) -> list[dict[str, Any]]:
    """Possible visits by gain per hour, there and back from the start (gate or plot) counted; ties by code. Problem ``plot_not_standing``."""
    b = board(db)
    if not b.plots:
        return []
    ways, work = walking.from_start(b.places[:, 0], b.places[:, 1], b.pace, _start(db, b, start)), b.pace.work()
    rows = []
    for i in range(len(b.plots)):
        k = _work_told(b.gain[i])
        rows.append({**_row(b, i, k, float(work[k] + 2 * ways[i])), "way_minutes": float(ways[i]), "work_minutes": float(work[k])})
    return sorted(rows, key=lambda row: (-row["gain_part_per_hour"], row["code"]))[:n]


def morning(db: Database, start: str | None = None, minutes: float | None = None) -> dict[str, Any]:
    """One crew's round: {stops in order with ``way_minutes`` and ``work_minutes``, minutes, back_minutes, gain_part, gain_part_per_hour, start}.

    Plots whose road is closed this week are left out. Problem ``plot_not_standing``.
    """
    b = board(db)
    limit = float(settings.load(db)["visit_morning_minutes"]) if minutes is None else float(minutes)
    empty = {"stops": [], "minutes": 0.0, "limit_minutes": limit, "back_minutes": 0.0, "gain_part": 0.0, "gain_part_per_hour": 0.0, "start": start, "gate_known": gate(db) is not None}
    if not b.plots:
        return empty
    begin, work = _start(db, b, start), b.pace.work()
    gain = _worth_doing(b)
    near = _promising(gain, work, walking.from_start(b.places[:, 0], b.places[:, 1], b.pace, begin), b.open_way)
    of = lambda stops: tuple(day_round.Stop(int(near[s.plot]), s.work) for s in stops)  # noqa: E731
    found = day_round.plan(gain[near], lambda stops: together(b, of(stops)), walking.legs(b.places[near, 0], b.places[near, 1], b.pace, begin), np.tile(work, (len(near), 1)), limit)
    stops = [{**_row(b, s.plot, s.work, way + work[s.work]), "way_minutes": way, "work_minutes": float(work[s.work])} for s, way in zip(of(found.stops), found.ways)]
    return empty | {"stops": stops, "minutes": found.minutes, "back_minutes": found.ways[-1] if found.ways else 0.0, "gain_part": found.gain, "gain_part_per_hour": 60 * found.gain / found.minutes if found.minutes else 0.0}


def _worth_doing(b: Board) -> np.ndarray:
    """Gains with what nobody would be sent for at nothing: a work that adds little to the other."""
    out = b.gain.copy()
    for i in range(len(out)):
        out[i, [k for k in range(3) if k != _work_told(out[i])]] = 0.0
    return out


def _promising(gain: np.ndarray, work: np.ndarray, ways: np.ndarray, able: np.ndarray) -> np.ndarray:
    """Places of the plots a round is sought among, in their order: the best by gain an hour and by gain, if a road leads there."""
    best = np.where(able, gain.max(axis=1), -1.0)
    rate = np.where(able, (gain / (work[None, :] + 2 * ways[:, None])).max(axis=1), -1.0)
    some = {*np.argsort(-rate, kind="stable")[:MOST_BY_RATE], *np.argsort(-best, kind="stable")[:MOST_BY_GAIN]}
    return np.array(sorted(i for i in some if best[i] > 0), int)


def together(b: Board, stops: tuple[day_round.Stop, ...]) -> float:
    """Gain of stops together: what one says of the whole estate the next needn't say again (in the order of the plots, so that it is one number)."""
    total, shared = 0.0, b.shared
    for s in sorted(stops):
        sampled = s.work != visits_worth.COUNT
        others = shared.others(s.plot) if shared is not None and sampled else 0.0
        total += float(b.doubt.part(float(b.worth.weeks_gain[s.plot]) if sampled else 0.0, float(b.worth.tonnes_gain[s.plot, s.work]) + others))
        if shared is not None and sampled:
            shared = shared.after(s.plot)
    return total


def listed(db: Database, n: int) -> list[dict[str, Any]]:
    """What phones and pages show: the morning's stops in their order (``stop`` 1, 2, …), then what is worth most an hour (``stop`` None)."""
    stops = [{**row, "stop": k} for k, row in enumerate(morning(db)["stops"], 1)]
    there = {row["code"] for row in stops}
    return (stops + [{**row, "stop": None} for row in visits_worth_making(db, n + len(stops)) if row["code"] not in there])[:n]


def days_since(row: dict[str, Any], today: date) -> int | None:
    return (today - date.fromisoformat(row["last_visit"])).days if row["last_visit"] else None
