"""What would be said of the plots under other thresholds: from the stored fit where it suffices, by a trial fit where not. Nothing is stored."""

from __future__ import annotations

import threading
from dataclasses import asdict

import numpy as np

from .. import settings
from ..answers import Answer
from ..config import SETTINGS
from ..database import Database
from ..survey import sampling
from ..weeks import monday_of
from . import believed, readiness, ripening, service, sureness
from .believed import Belief
from .readiness import Limits
from .visits import Visits

_last: dict[tuple, dict[str, sureness.Sure]] = {}
_guard = threading.Lock()

IN_THE_FIT = ("peak_age_months", "annual_mortality", "planting_density_ha", *(s.name for s in SETTINGS if s.group == "ripeness" and s.name not in Limits.__dataclass_fields__))
"""Settings that the curve, or which plants stand and of what age, depends on; all others only judge the same curve."""


def needs_fit(current: settings.Settings, proposed: settings.Settings) -> bool:
    """Whether the stored fit cannot say what the proposed settings would."""
    return any(current[name] != proposed[name] for name in IN_THE_FIT)


def by_fit(db: Database, proposed: settings.Settings) -> Answer:
    """The answer that a fit under these settings would store, from the records as they are."""
    with settings.pretended(db, proposed):
        return Answer(service.STAGE, "", "", *service.reckon(db, service.limits(db)))


def closed_form(db: Database, proposed: settings.Settings) -> Answer:
    """The stored answer under other thresholds, by the same arithmetic in the same batches, so it equals what saving will say.

    The age of the peak stays the stored fit's: where it is to change too, :func:`by_fit` is the only truth.
    """
    a = service.answer(db)
    lim = Limits(**{**asdict(service.limits(db, proposed)), "peak_age_months": service.limits_of(a).peak_age_months})
    if lim == service.limits_of(a):
        return a
    model, ground, seen = service.model_of(a)
    plots, weeks, days = a.meta["plots"], a.meta["weeks"], np.array([monday_of(w).toordinal() + 3 for w in a.meta["weeks"]], float)
    parts, windows, kinds = [], {}, {}
    for start in range(0, max(len(plots), 1), service.PLOTS_AT_ONCE):
        at = np.arange(start, min(start + service.PLOTS_AT_ONCE, len(plots)))
        some, land_of, seen_of = ripening.part(model, ground, seen, at)
        arrays = service._curves(some, ripening.ahead(some, ripening.posterior(some, seen_of, land_of, some.about), days), lim, land_of)
        ends = arrays["share"], arrays["keep_share"], lim
        kinds |= dict(zip((plots[i] for i in at), readiness.window_kinds(*ends)))
        for i, window in zip(at, readiness.windows(*ends)):
            windows[plots[i]] = [weeks[window[0]], weeks[window[1]] if window[1] is not None else None] if window else None
        parts.append({name: value.astype(np.float32) if value.dtype == np.float64 else value for name, value in arrays.items()})
    arrays = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    by_plot = {code: {**a.meta["by_plot"][code], "window": windows[code], "window_kind": kinds[code]} for code in plots}
    return Answer(a.stage, "", a.made_at, {**a.meta, "limits": asdict(lim), "by_plot": by_plot}, {**a.arrays, **arrays})


def plants_asked(db: Database, proposed: settings.Settings) -> np.ndarray:
    """[P] plants that phones would ask for on a visit today until it is enough."""
    priors = service.prior_for_phone(db).values()
    return np.array([sampling.still_needed(sampling.Prior(**prior), 0, proposed["enough_narrowing_deg"]) for prior in priors], int)


def beliefs_of(a: Answer) -> list[Belief]:
    """What the estate's data say of each fitted part, beside its prior."""
    model, ground, seen = service.model_of(a)
    return believed.beliefs(model, len(a.meta["zones"]), _sure(a.key, model, ground, seen))


def _sure(key: str, model: ripening.Fit, ground: ripening.Land, seen: Visits) -> dict[str, sureness.Sure]:
    """Kept for the last fit asked about: a tenth of a second for the demo, some for a region."""
    this = key, model.sds.tobytes(), model.cov.tobytes()
    with _guard:
        if this not in _last:
            _last.clear()
            _last[this] = sureness.of_fit(model, seen, ground)
        return _last[this]
