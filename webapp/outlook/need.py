"""From sales to the agave to cut: bottles → litres at 40 % → litres distilled → standard tonnes, in every future."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import ageing, demand
from .classes import MIXED, years_in_wood
from .distilling import agave_t, litres_at_40
from .futures import stream


@dataclass(frozen=True)
class Need:
    """tonnes [S, T]; sales_l and distil_l [S, T, K] at 40 % vol by kind (category, class); too_late_l [S, T, K];
    line_litres [S, T, L] sales a year by line (for ranking what matters); kg_per_l [S]."""

    kinds: tuple[tuple[str, str], ...]
    tonnes: np.ndarray
    sales_l: np.ndarray
    distil_l: np.ndarray
    too_late_l: np.ndarray
    line_litres: np.ndarray
    kg_per_l: np.ndarray


@dataclass(frozen=True)
class Spirit:
    """What turns bottles into agave: bottle strength, kg per litre at 40 % with sd, agave share of mixed, evaporation a year,
    floor of kg/L, years over which stock beyond the ageing pipeline is drawn down."""

    bottle_abv: float
    kg_per_l: float
    kg_per_l_sd: float
    mixed_share: float
    evaporation: float
    floor_kg_per_l: float
    stock_drawn_years: float = 5.0


def need(past: demand.History, trend: demand.Trend, paths: list[demand.Path], which: np.ndarray, years: np.ndarray, length: np.ndarray, seed: int,
         spirit: Spirit, stock: dict[tuple[str, str], np.ndarray] | None, own_classes: dict[str, float] | None = None, *,
         damping: float, growth_doubt: float, stopped: tuple[str, ...] = ()) -> Need:
    """Tonnes of agave [S, T] that the sales ask for; ``stock`` maps (category, class) to litres at 40 % by whole years in wood.

    With ``stock`` None nobody has told what is in wood: it is then taken as enough for sales nearer than
    their ageing time. The same seed gives the same luck whatever the paths.
    """
    kinds = tuple(sorted({(line[1], line[2]) for line in past.lines}))
    wood = np.array([years_in_wood(name, own_classes) for _, name in kinds])
    lead = int(np.ceil(wood.max(initial=0.0))) + 1  # what is distilled in the last year is sold as late as this
    longer = np.concatenate([years, years[-1] + 1 + np.arange(lead)])
    lengths = np.concatenate([length, np.ones(lead)])
    bottles = demand.sample(past, trend, longer, paths, which, stream(seed, "demand"), damping=damping, growth_doubt=growth_doubt, stopped=stopped)
    litres = litres_at_40(bottles, spirit.bottle_abv)
    member = np.array([[kind == (line[1], line[2]) for kind in kinds] for line in past.lines], float)
    sales = litres @ member
    oldest = 1 + max((len(v) for v in (stock or {}).values()), default=1)
    in_wood = np.zeros((len(kinds), oldest))
    for k, kind in enumerate(kinds):
        held = (stock or {}).get(kind)
        if held is not None:
            in_wood[k, :len(held)] = held
    laid = ageing.lay_down(sales, lengths, wood, in_wood, spirit.evaporation, len(years), spirit.stock_drawn_years)
    luck = stream(seed, "yield").standard_normal(len(which))
    kg = np.maximum(spirit.kg_per_l + spirit.kg_per_l_sd * luck, spirit.floor_kg_per_l)
    share = np.array([spirit.mixed_share if category == MIXED else 1.0 for category, _ in kinds])
    tonnes = agave_t(laid.distil_l @ share, kg[:, None])
    too_late = laid.too_late_l if stock is not None else np.zeros_like(laid.too_late_l)
    return Need(kinds, tonnes, sales[:, :len(years)] * length[None, :, None], laid.distil_l, too_late, litres[:, :len(years)], kg)
