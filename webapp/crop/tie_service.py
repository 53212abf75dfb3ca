"""What joins piñas and ripeness on this estate, from the stored answers, and what it says in joint draws."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from ..answers import Answer
from ..quantity import Belief
from ..ripeness import futures, plot_effects
from ..ripeness import service as ripeness
from ..sentences import Sentence
from ..tonnage import service as tonnage
from ..tonnage.tied import Told
from . import tie
from .tie import Tie

LEAST_PLOTS, WORTH_SAYING = 10, 0.01
"""Below so many plots read and weighed the page says that it is the assumption; a piña moved by less than this share is not spoken of."""
PLACES_WEEKS = (0, 52, 104)
"""A drawn path of °Brix is asked about level and pace by its values on these weeks."""


def of(ripe: Answer, tonnes: Answer) -> Tie:
    """Learned from two answers of the same plots; what is believed beforehand where they are of other plots or of an older form."""
    return tie.learn(_effects(ripe), tonnage.weighed(tonnes, ripe.meta["plots"]))


def _effects(ripe: Answer) -> plot_effects.Effects:
    model, ground, seen = ripeness.model_of(ripe)
    return plot_effects.effects(model, ground, seen, float(date.fromisoformat(ripe.meta["today"]).toordinal()))


def told(ripe: Answer, tonnes: Answer, days: np.ndarray, mean_deg: np.ndarray, seed: int) -> Told | None:
    """What draws of °Brix [n, P, T] on ordinal ``days`` [T] say of the plots' piñas; None where the answers speak of other plots or of an older form."""
    if tonnage.weighed(tonnes, ripe.meta["plots"]) is None:
        return None
    model, ground, seen = ripeness.model_of(ripe)
    at = np.unique([int(np.argmin(np.abs(days - days[0] - 7 * weeks))) for weeks in PLACES_WEEKS])
    effects = plot_effects.drawn(model, ground, seen, days[at], mean_deg[:, :, at], np.random.default_rng([seed, 12]), futures.rare_ones(len(mean_deg), seed))
    return tie.told(of(ripe, tonnes), effects, np.array([model.sd("level"), model.sd("pace")]), float(tonnes.arrays["g_plot_sd"]), np.random.default_rng([seed, 13]))


def about(ripe: Answer, tonnes: Answer) -> tuple[dict[str, Any], np.ndarray]:
    """As stored in the crop's answer: (``plots`` it rests on and correlations (mean, low, high at 80 %) with the ``whole`` effect on °Brix today, with ``level``, with ``pace``;
    [P] by how much their readings move the plots' piñas, log)."""
    effects, weighed = _effects(ripe), tonnage.weighed(tonnes, ripe.meta["plots"])
    found = tie.learn(effects, weighed)
    return {"plots": found.plots, **{name: found.interval(along) for name, along in _along(found.share).items()}}, tie.moved(found, effects, weighed)


def moved_as(ripe: Answer, tonnes: Answer, code: str, effects: plot_effects.Effects) -> float:
    """By how much (log) other readings of one plot, as ``effects`` [1] tell them, would move its piñas; 0 where the answers are of an older form or do not know the plot."""
    weighed = tonnage.weighed(tonnes, ripe.meta["plots"])
    if weighed is None or code not in ripe.meta["plots"]:
        return 0.0
    at = ripe.meta["plots"].index(code)
    mine = weighed.seen == at
    one = replace(weighed, seen=np.zeros(int(mine.sum()), int), m=weighed.m[mine], x=weighed.x[mine], var=weighed.var[mine], rest_var=weighed.rest_var[at: at + 1])
    return float(tie.moved(of(ripe, tonnes), effects, one)[0])


def _along(share: np.ndarray) -> dict[str, np.ndarray]:
    return {"whole": share, "level": np.array([1.0, 0.0]), "pace": np.array([0.0, 1.0])}


def beliefs_of(a: Answer) -> list[Belief]:
    """The correlations beside what was believed of them; none from an answer of before they were learned."""
    known = a.meta.get("tie")
    if known is None:
        return []
    before = tie.unlearned(np.array([1.0, 0.0]))
    out = []
    for name in ("whole", "level", "pace"):
        _, low, high = before.interval(np.array([1.0, 0.0]))
        out.append(Belief(f"tie_{name}", "1", 0.0, low, high, *known[name], {"n": known["plots"]}, "" if known["plots"] >= LEAST_PLOTS else "few_tied"))
    return out


def sentence(a: Answer, code: str) -> Sentence | None:
    """By how much a plot's own readings move its piñas; None where that is not worth saying."""
    if "tie_moved" not in a.arrays or code not in a.meta["plots"]:
        return None
    share = float(np.expm1(a.arrays["tie_moved"][a.meta["plots"].index(code)]))
    return None if abs(share) < WORTH_SAYING else Sentence(f"crop.tie.{'heavier' if share > 0 else 'lighter'}", {"share": 100 * abs(share), "correlation": float(a.meta["tie"]["whole"][0]), "n": a.meta["tie"]["plots"]})
