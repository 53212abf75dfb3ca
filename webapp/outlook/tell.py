"""The found plan as plain data: what pages, the command line and the JSON answer all read.

Every tonne here is the estate's own (standard tonnes over the sugar ratio); every money figure is MXN.
"""

from __future__ import annotations

import numpy as np

from ..quantity import Estimate
from ..sentences import Sentence
from . import matters
from .assess import Ask, Case, Found
from .classes import CLASSES
from .rules import GLUT_BY, SHORT_BY, Summary, touched

ASSUMPTIONS = (
    "agave_kg_per_l_40", "mixed_agave_share", "evaporation_per_year", "stock_drawn_years", "art_reference", "planting_density_ha", "replanting_share", "offsets_per_mother_year",
    "cohort_log_sd", "clearing_age_years", "loss_per_month", "peak_age_months", "planting_cost_mxn_ha", "care_cost_mxn_ha_year", "uneven_planting_mxn_ha", "bought_agave_mxn_t",
    "bought_agave_limit_t", "surplus_agave_mxn_t", "shortage_cost_outlook_mxn_t", "own_agave_value_mxn_t", "land_limit_ha_year", "discount_per_year",
    "risk_weight", "trend_damping", "growth_doubt", "case_grow", "case_fall")


def told(ask: Ask, found: Found, factory_t: float, factory_year: int, known_sales: bool) -> tuple[dict, dict[str, np.ndarray]]:
    """Meta and arrays of the stored answer."""
    f, plan, v = found.futures, found.plan, ask.values
    first, ratio = f.first, found.sugar_ratio
    years = f.years[first:]
    reach = touched(f)
    flows = {name: getattr(plan.flows, name)[:, first:] / ratio for name in ("standing_t", "new_t", "bought_t", "short_t", "surplus_t", "lost_t")}
    need_t = f.need_t[:, first:] / ratio
    ripening = (np.diff(f.standing.ripe, axis=2, prepend=0.0) * f.standing.standard_t).sum(axis=1)[:, first:] / ratio
    total = flows["standing_t"] + flows["new_t"]
    area = float(plan.hectares[0])
    per_ha = v["planting_density_ha"] * (1 + v["replanting_share"])
    offsets = area * per_ha
    own = min(offsets, found.own_offsets)
    meta = {
        "futures": f.count, "seed": ask.seed, "sugar_ratio": ratio, "today": ask.today.isoformat(),
        "headline": {
            "year": int(years[0]), "area_ha": area, "area_ha_rounded": rounded(area), "flat_low_ha": found.flat_ha[0], "flat_high_ha": found.flat_ha[1],
            "flat_tolerance_mxn": found.flat_tolerance_mxn, "offsets": offsets, "offsets_own": own, "offsets_bought": offsets - own,
            "offsets_own_available": found.own_offsets, "planted_last_season_ha": ask.last_planted_ha, "replanting_share": v["replanting_share"]},
        "chances": {"short": plan.short_chance, "glut": plan.glut_chance, "short_by": SHORT_BY, "glut_by": GLUT_BY, "years": [int(y) for y in f.years[reach]],
                    "unmet_share": plan.unmet_share},
        "plan": [{"year": int(y), "area_ha": float(h), "offsets": float(h * per_ha)} for y, h in zip(years, plan.hectares)],
        "rules": [_rule(s, plan) for s in (plan, *found.follow)],
        "cases": [_case(c, rate) for c, rate in zip(found.cases, (p.per_year for p in found.paths))],
        "markets": [_case(c, None) for c in found.markets],
        "years": [int(y) for y in years],
        "supply": {
            "standing_t": _mean(flows["standing_t"]), "to_plant_t": _mean(flows["new_t"]), "lo80_t": _low(total), "hi80_t": _high(total),
            "standing_lo80_t": _low(flows["standing_t"]), "standing_hi80_t": _high(flows["standing_t"]),
            "ripening_standing_t": _mean(ripening), "ripening_lo80_t": _low(ripening), "ripening_hi80_t": _high(ripening),
            "bought_t": _mean(flows["bought_t"]), "short_t": _mean(flows["short_t"]), "surplus_t": _mean(flows["surplus_t"]), "lost_t": _mean(flows["lost_t"])},
        "demand": {"mean_t": _mean(need_t), "lo80_t": _low(need_t), "hi80_t": _high(need_t)},
        "classes": [{"category": k[0], "class": k[1], "sales_l": _mean(found.needed.sales_l[:, first:, i]), "sales_lo80_l": _low(found.needed.sales_l[:, first:, i]),
                     "sales_hi80_l": _high(found.needed.sales_l[:, first:, i]), "distil_l": _mean(found.needed.distil_l[:, first:, i]),
                     "too_late_l": _mean(found.needed.too_late_l[:, first:, i])} for i, k in enumerate(found.needed.kinds)],
        "value_mxn": plan.value_mxn, "vss_mxn": found.vss_mxn, "evpi_mxn": found.evpi_mxn,
        "what_matters": matters.ranked(f, ask.past, found.needed, plan.hectares, reach, v["mixed_agave_share"]),
        "trend": {"method": found.trend.method, "mase": found.trend.mase,
                  "growth": [{"market": m, "category": c, "class": k, "per_year": float(g), "sd": float(s)} for (m, c, k), g, s in zip(ask.past.lines, found.trend.growth, found.trend.growth_sd)]},
        "curve": {"age_years": list(range(f.curve.ripe.shape[1])), "ripe_share": _mean(f.curve.ripe), "mass_t_ha": _mean(f.curve.mass_t_ha), "taught_by_plots": f.curve.taught_by},
        "factory": {"year": factory_year, "factory_t": factory_t, "sales_t": float(need_t[:, 0].mean() / f.length[first])},
        "assumptions": [name for name in ASSUMPTIONS],
    }
    meta["said"] = [s.as_dict() for s in sentences(meta, ask, known_sales)]
    arrays = {"need_t": need_t, "standing_t": flows["standing_t"], "new_t": flows["new_t"], "bought_t": flows["bought_t"], "short_t": flows["short_t"],
              "surplus_t": flows["surplus_t"] + flows["lost_t"], "hectares": plan.hectares}
    return meta, {name: value.astype("float64" if name == "hectares" else "float32") for name, value in arrays.items()}


def sentences(meta: dict, ask: Ask, known_sales: bool) -> list[Sentence]:
    """What a person should hear, in order; every number is one of ``meta``'s."""
    head, chances, factory = meta["headline"], meta["chances"], meta["factory"]
    out = [Sentence("outlook.said.plant", {"area_ha": head["area_ha_rounded"], "year": head["year"]}),
           Sentence("outlook.said.flat", {"low": rounded(head["flat_low_ha"]), "high": rounded(head["flat_high_ha"]), "million": head["flat_tolerance_mxn"] / 1e6}),
           Sentence("outlook.said.offsets", {"offsets": head["offsets"], "own": head["offsets_own"], "bought": head["offsets_bought"], "percent": 100 * head["replanting_share"]})]
    if chances["years"]:
        out.append(Sentence("outlook.said.chances", {"short": 100 * chances["short"], "glut": 100 * chances["glut"], "first": chances["years"][0], "last": chances["years"][-1],
                                                     "short_by": 100 * chances["short_by"], "glut_by": 100 * chances["glut_by"]}))
    lost = [r for r in meta["rules"] if r["rule"] == "same"][0]
    out.append(Sentence("outlook.said.same", {"area_ha": rounded(lost["area_ha"]), "million": lost["regret_mxn"] / 1e6}))
    if meta["what_matters"]:
        top = meta["what_matters"][0]
        code = f"outlook.matters.{top['what']}"
        if top["what"] == "sales":
            code += ".need" if not known_sales else f".{top['class'] if top['class'] in CLASSES else 'own'}"  # without sales the factory's need stands in for them
        out.append(Sentence(code, {"market": top["market"], "kind": top["class"], "percent": 100 * top["share"]}))
    apart = factory["sales_t"] / factory["factory_t"] - 1 if factory["factory_t"] > 0 else 0.0
    if known_sales and factory["factory_t"] > 0:
        code = "outlook.said.factory_agrees" if abs(apart) <= 0.05 else "outlook.said.factory_more" if apart > 0 else "outlook.said.factory_less"
        out.append(Sentence(code, {"factory_t": factory["factory_t"], "sales_t": factory["sales_t"], "percent": 100 * abs(apart), "year": factory["year"]}))
    if not known_sales:
        out.append(Sentence("outlook.said.no_sales", {"factory_t": factory["factory_t"]}))
    if ask.stock is None:
        out.append(Sentence("outlook.said.no_stock"))
    late = sum(sum(c["too_late_l"]) for c in meta["classes"])
    if late > 1:
        out.append(Sentence("outlook.said.too_late", {"litres": late}))
    if meta["curve"]["taught_by_plots"] == 0:
        out.append(Sentence("outlook.said.curve_assumed"))
    if ask.past.missing:
        out.append(Sentence("outlook.said.months_missing", {"n": len(ask.past.missing), "first": ask.past.missing[0]}))
    out.append(Sentence("outlook.said.worth", {"vss": meta["vss_mxn"] / 1e6, "evpi": meta["evpi_mxn"] / 1e6, "value": meta["value_mxn"] / 1e6}))
    return out


def rounded(area_ha: float) -> float:
    """Hectares as people say them: whole from ten up, tenths below."""
    return float(round(area_ha)) if area_ha >= 9.95 else round(area_ha, 1)


def supply_estimates(meta: dict) -> list[Estimate]:
    """Supply by year with its 80 % interval."""
    s = meta["supply"]
    return [Estimate(min(max(a + b, lo), hi), lo, hi, "t/year", meta["futures"], "outlook.how.supply") for a, b, lo, hi in zip(s["standing_t"], s["to_plant_t"], s["lo80_t"], s["hi80_t"])]


def _rule(s: Summary, plan: Summary) -> dict:
    return {"rule": s.name, "area_ha": float(s.hectares[0]), "short_chance": s.short_chance, "glut_chance": s.glut_chance, "unmet_share": s.unmet_share,
            "value_mxn": s.value_mxn, "regret_mxn": plan.value_mxn - s.value_mxn, "bought_t_year": s.bought_t_year}


def _case(c: Case, per_year: float | None) -> dict:
    return {"case": c.name, "per_year": per_year, "area_ha": float(c.own.hectares[0]), "short_chance": c.this.short_chance, "glut_chance": c.this.glut_chance,
            "own_short_chance": c.own.short_chance, "own_glut_chance": c.own.glut_chance, "regret_mxn": c.regret_mxn}


def _mean(values: np.ndarray) -> list[float]:
    return [float(x) for x in values.mean(axis=0)]


def _low(values: np.ndarray) -> list[float]:
    return [float(x) for x in np.quantile(values, 0.1, axis=0)]


def _high(values: np.ndarray) -> list[float]:
    return [float(x) for x in np.quantile(values, 0.9, axis=0)]
