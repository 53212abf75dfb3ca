"""What is known of every plot's next visit, put together from the stored answers: gains, what plots share, places and ways."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import answers, clock, settings
from ..answers import Answer
from ..database import Database, path_of
from ..land import service as land
from ..ripeness import constants as ripeness_constants
from ..ripeness import plot_effects, rare, ripening
from ..ripeness import service as ripeness
from ..ripeness.readiness import Z80
from ..survey import service as survey
from ..weeks import monday_of
from . import service as crop
from . import visits_worth, walking

PLOTS_AT_ONCE, EVERY_WEEKS = 400, 2
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
    planted: np.ndarray       # [P] its plants are in the ground today: before that nobody is sent there
    last_visit: tuple[str | None, ...]
    doubted: tuple[int, ...]  # [P] rounds in doubt that do not count until somebody looks
    week_t: np.ndarray        # [P, W] 80 % width of the ripe tonnes of one week, t
    week_gain_t: np.ndarray   # [P, W, 3] how much narrower a sample, a count or both would make it


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
    doubted = tuple(int(ripe.meta["by_plot"][code].get("n_doubted", 0)) for code in codes)
    planted = ~ripeness.unplanted(ripe)[:, 0]
    return Board(tuple(codes), w, doubt, shared, others, visits_worth.gains(w, doubt, others) * planted[:, None], pace, there[["lat", "lon"]].to_numpy(float).reshape(-1, 2), _open_way(db, there), planted, last, doubted, *visits_worth.by_week(known))


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
    return visits_worth.Known(*(a[name][:, :weeks] for name in ("mean_deg", "sd_deg", "sd_after_visit_deg", "plant_sd_deg", "share_expected")), (a["share_hi"] - a["share_lo"])[:, :weeks] / (2 * rare.half(0.8, a["rare_part"][:, :weeks])),
                              of(t["mass_t"])[:, :weeks], of(np.clip(np.nan_to_num(spread), 0.0, 2.0)), of(np.clip(t["plants_sd"] / np.maximum(t["plants"], 1.0), 0.0, 2.0)), np.where(np.isfinite(rows), rows, side),
                              a["taken"][:, :weeks], a["ready"][:, :weeks], _ends(ripe))


def _ends(ripe: Answer) -> plot_effects.Ends:
    model, ground, seen = ripeness.model_of(ripe)
    return plot_effects.ends(model, ground, seen, monday_of(ripe.meta["weeks"][0]).toordinal() + 3.0, ripeness.limits_of(ripe), float(ripeness_constants.VISIT_PLANTS))


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
