"""Every setting once: name, default, unit, limits, whether it is an assumption, and its source.

Words for screens are sentences ``setting.<name>`` (label) and ``setting.<name>.help``. An assumption
is a number the user should replace with the estate's own; pages mark it so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Setting:
    """One setting. ``kind`` is number, whole, text, choice or yes_no; limits are inclusive; ``form`` is what a text must look like, as in ``example`` (the default where there is none)."""

    name: str
    default: Any
    unit: str
    group: str
    kind: str = "number"
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    assumption: bool = False
    source: str = ""
    form: str = ""
    example: str = ""


S = Setting
ADDRESS = r"https?://([\w.-]+|\[[0-9a-fA-F:]+\])(:\d{1,5})?(/[^\s?#]*)?"
TILES = r"(?=\S*\{z\})(?=\S*\{x\})(?=\S*\{-?y\})(https?://[\w{}.-]+(:\d{1,5})?)?/\S*"  # its origin goes into the page's content policy
PLACE = r"-?([0-8]?\d(\.\d+)?|90(\.0+)?)(\s*[,;]\s*|\s+)-?((1[0-7]\d|\d?\d)(\.\d+)?|180(\.0+)?)"
CLASSES = r"(\s*[^=;\s][^=;]*=\s*(15([.,]0+)?|(1[0-4]|\d)([.,]\d+)?)\s*(;|$))*"
DAY_OF_YEAR = r"(0[13578]|1[02])-(0[1-9]|[12]\d|3[01])|(0[469]|11)-(0[1-9]|[12]\d|30)|02-(0[1-9]|1\d|2[0-8])"  # a day that every year has
SETTINGS: tuple[Setting, ...] = (
    # the estate
    S("public_address", "", "", "estate", "text", form=ADDRESS, example="https://rancho.mx"),
    S("tile_address", "", "", "estate", "text", form=TILES, example="https://servidor.mx/{z}/{x}/{y}.png"),
    S("tile_credit", "", "", "estate", "text"),
    # ripeness
    S("target_brix_deg", 24.0, "°Bx at 20 °C", "ripeness", low=15, high=35, assumption=True, source="common practice: buyers' target 23–28 °Bx"),
    S("ripe_share_to_cut", 0.50, "share of plants", "ripeness", low=0.05, high=0.95, assumption=True, source="common practice"),
    S("near_share", 0.25, "share of plants", "ripeness", low=0.01, high=0.95, assumption=True, source="common practice"),
    S("young_age_months", 42.0, "months", "ripeness", low=6, high=120, assumption=True, source="common practice: cut from year 4 at the earliest"),
    S("peak_age_months", 90.0, "months", "ripeness", low=48, high=168, assumption=True, source="practice curve of the ripening model; from memory"),
    S("loss_per_month", 0.015, "share per month past the peak", "ripeness", low=0, high=0.2, assumption=True, source="from memory: 1–2 % of mass and sugar a month"),
    S("loss_limit", 0.12, "share lost", "ripeness", low=0.005, high=0.5, assumption=True, source="common practice: 6 to 12 months at full ripeness, at the loss above"),
    S("capon_months", 4.0, "months", "ripeness", low=0, high=24, assumption=True, source="common practice: 2 to 6 months from cutting the quiote, sources disagree"),
    S("enough_narrowing_deg", 0.05, "°Bx", "visits", low=0.005, high=1, assumption=True, source="the user's limit: three more plants must narrow the plot mean by more than this"),
    S("enough_rows_share", 0.05, "share of the mean", "visits", low=0.01, high=0.5, assumption=True, source="the user's limit: rows are counted until plants a row are known this closely at 95 %"),
    # visits worth making
    S("visit_morning_minutes", 300, "min", "visits", "whole", low=30, high=720, assumption=True, source="common practice: from first light to the heat of noon"),
    S("visit_window_weight", 0.5, "weight 0…1 on the cutting window", "visits", low=0, high=1, assumption=True, source="the user's own: the rest weighs the tonnes of the next 26 weeks"),
    S("gate_place", "", "lat, lon", "visits", "text", source="where the crews start; empty: the middle of the plots", form=PLACE, example="20.61, -103.02"),
    S("visit_setup_minutes", 10.0, "min/visit", "visits", low=0, high=120, assumption=True, source="from memory: zero check, tools, choosing rows"),
    S("visit_plant_minutes", 3.0, "min/plant", "visits", low=0.2, high=30, assumption=True, source="from memory: drill, press, read, write, disinfect"),
    S("count_row_minutes", 6.0, "min/row", "visits", low=0.5, high=60, assumption=True, source="from memory: a row of 250 m walked and counted"),
    S("walk_speed_km_h", 4.0, "km/h", "visits", low=1, high=8, assumption=True, source="from memory: on foot along field roads"),
    S("road_speed_km_h", 20.0, "km/h", "visits", low=2, high=80, assumption=True, source="from memory: a pick-up on field roads"),
    S("park_minutes", 8.0, "min/drive", "visits", low=0, high=60, assumption=True, source="from memory: gates, parking, walking in; short ways are quicker on foot"),
    S("road_factor", 1.4, "1", "visits", low=1, high=5, assumption=True, source="from memory: roads are not mapped; a way is this much longer than the straight line"),
    # tonnage
    S("annual_mortality", 0.03, "share per year", "tonnage", low=0, high=0.5, assumption=True, source="from memory: 2–5 % a year; no published annual rate"),
    S("annual_mortality_sd", 0.012, "share per year", "tonnage", low=0.001, high=0.2, assumption=True, source="from memory"),
    S("pina_asymptote_kg", 50.0, "kg", "tonnage", low=15, high=150, assumption=True, source="from memory: Gompertz 50·exp(−7·exp(−0.42·years)); no published curve"),
    S("pina_shape", 7.0, "1", "tonnage", low=1, high=30, assumption=True, source="from memory, as above"),
    S("pina_rate_per_year", 0.42, "1/year", "tonnage", low=0.1, high=1.5, assumption=True, source="from memory, as above"),
    S("pina_log_sd", 0.25, "1", "tonnage", low=0.02, high=1, assumption=True, source="from memory: wide prior on a plot's mean piña, log scale"),
    S("quiote_lost_share", 0.02, "share of the quiotes", "tonnage", low=0, high=1, assumption=True, source="assumption: no published loss rate; the rest is cut in time"),
    S("leaf_pruning_mass", 0.0, "share of the piña", "tonnage", low=-0.5, high=0.5, assumption=True, source="assumption: no published figure; felt for a year"),
    S("fertilising_mass", 0.0, "share of the piña", "tonnage", low=-0.5, high=0.5, assumption=True, source="assumption: a trial's fertigation gave five times the piña (Zúñiga-Estrada et al. 2018), one field fertilising has no published figure; felt for two years"),
    S("capon_mass", 0.0, "share of the piña", "tonnage", low=-0.5, high=0.5, assumption=True, source="assumption: published for another species only, without a figure of mass"),
    S("art_per_brix", 0.90, "% ART per °Bx", "tonnage", low=0.5, high=1.2, assumption=True, source="published range 0.80 to 1.00; see Bautista-Justo et al. 2001"),
    S("art_per_brix_sd", 0.10, "% ART per °Bx", "tonnage", low=0.005, high=0.4, assumption=True, source="published range 0.80 to 1.00"),
    # cutting
    S("need_t_week", 280.0, "t/week", "cutting", low=0, high=20000, assumption=True, source="the distillery's own figure"),
    S("need_high_t_week", 310.0, "t/week", "cutting", low=0, high=20000, assumption=True, source="the distillery's own figure"),
    S("stop_weeks", "W52 W53 W01 W27", "ISO weeks", "cutting", "text", assumption=True, source="the distillery's calendar", form=r"((\d{4}-)?W(0[1-9]|[1-4]\d|5[0-3])([\s,]+|$))*"),
    S("day_mass_per_person_t", 2.5, "t/person-day", "cutting", low=0.2, high=8, assumption=True, source="derived from press 2019, 2021: 2.0–3.7"),
    S("rain_work_factor", 0.8, "1", "cutting", low=0.2, high=1, assumption=True, source="from memory"),
    S("cutting_days_week", 6.0, "days/week", "cutting", low=1, high=7, assumption=True, source="common practice"),
    S("truck_t", 20.0, "t/truck", "cutting", low=1, high=40, assumption=True, source="press 2025: 20 t per truck"),
    S("truck_trips_week", 20, "trips/week", "cutting", "whole", low=1, high=500, assumption=True, source="the estate's own trucks"),
    S("least_pass_share", 0.25, "share of standing", "cutting", low=0.05, high=1, assumption=True, source="common practice"),
    S("idle_weeks_between_passes", 4, "weeks", "cutting", "whole", low=1, high=52, assumption=True, source="common practice"),
    S("longest_pass_weeks", 3, "weeks", "cutting", "whole", low=1, high=6, assumption=True, source="common practice"),
    S("plots_per_crew_week", 2.5, "plots", "cutting", low=1, high=10, assumption=True, source="common practice"),
    S("sugar_value_mxn_kg", 38.0, "MXN per kg of ART", "cutting", low=1, high=500, assumption=True, source="the user's own; SIAP 2023 mean 18.73 MXN/kg of agave"),
    S("cut_cost_mxn_t", 350.0, "MXN/t", "cutting", low=0, high=5000, assumption=True, source="press 2019: about 230–400 MXN/t"),
    S("haul_cost_mxn_t_km", 4.5, "MXN/t·km", "cutting", low=0, high=100, assumption=True, source="the user's own"),
    S("move_in_cost_mxn", 12000.0, "MXN per pass", "cutting", low=0, high=500000, assumption=True, source="the user's own"),
    S("plot_week_cost_mxn", 3000.0, "MXN per plot-week", "cutting", low=0, high=200000, assumption=True, source="the user's own"),
    S("zone_week_cost_mxn", 5000.0, "MXN per zone-week", "cutting", low=0, high=200000, assumption=True, source="the user's own"),
    S("shortage_cost_mxn_t", 6000.0, "MXN per t short of the need", "cutting", low=0, high=100000, assumption=True, source="the user's own"),
    S("blend_low", 0.205, "t ART per t", "cutting", low=0.05, high=0.4, assumption=True, source="the distillery's own"),
    S("blend_high", 0.30, "t ART per t", "cutting", low=0.05, high=0.5, assumption=True, source="the distillery's own"),
    S("blend_cost_mxn_t", 20000.0, "MXN per t of sugar off the blend", "cutting", low=0, high=500000, assumption=True, source="the user's own"),
    S("keep_value_factor", 0.97, "1", "cutting", low=0.5, high=1, assumption=True, source="what stays standing is worth this share of its best later week"),
    S("plan_seconds", 60.0, "s", "cutting", low=5, high=1800, source="the user's patience"),
    # outlook
    S("agave_kg_per_l_40", 4.7, "kg/L at 40 % vol, 100 % agave", "outlook", low=2.5, high=12, assumption=True, source="derived from the regulatory council's totals: 4.6 ± 0.2"),
    S("agave_kg_per_l_40_sd", 0.2, "kg/L", "outlook", low=0.01, high=3, assumption=True, source="as above"),
    S("mixed_agave_share", 0.51, "share of sugars", "outlook", low=0.51, high=1, assumption=True, source="NOM-006-SCFI-2012 §5.1.2: at least 51 %"),
    S("evaporation_per_year", 0.08, "share per year", "outlook", low=0, high=0.3, assumption=True, source="derived mid-point of 5–12 % a year; no peer-reviewed value"),
    S("bottle_abv", 40.0, "% vol", "outlook", low=35, high=55, assumption=True, source="NOM-006-SCFI-2012 §6.1: 35–55"),
    S("wood_abv", 55.0, "% vol", "outlook", low=35, high=60, assumption=True, source="common practice"),
    S("planting_density_ha", 2900.0, "plants/ha", "outlook", low=500, high=6000, assumption=True, source="common practice: 2,500–3,000"),
    S("replanting_share", 0.07, "share of plants", "outlook", low=0, high=0.3, assumption=True, source="common practice: 5–10 %"),
    S("planting_cost_mxn_ha", 95000.0, "MXN/ha", "outlook", low=0, high=2000000, assumption=True, source="the user's own"),
    S("care_cost_mxn_ha_year", 18000.0, "MXN/ha per year", "outlook", low=0, high=500000, assumption=True, source="the user's own"),
    S("bought_agave_mxn_t", 14000.0, "MXN/t", "outlook", low=0, high=100000, assumption=True, source="SIAP 2023: 18,730; press: 1,000 in glut to 30,000 in scarcity"),
    S("bought_agave_limit_t", 4500.0, "t/year", "outlook", low=0, high=1000000, assumption=True, source="what outside growers can bring"),
    S("surplus_agave_mxn_t", 3000.0, "MXN/t", "outlook", low=0, high=100000, assumption=True, source="press: 1,000–5,000 in glut"),
    S("own_agave_value_mxn_t", 9000.0, "MXN/t", "outlook", low=0, high=100000, assumption=True, source="the user's own: what a tonne cut here is worth to the distillery"),
    S("shortage_cost_outlook_mxn_t", 26000.0, "MXN/t", "outlook", low=0, high=200000, assumption=True, source="the user's own: margin lost when bottles can't be filled"),
    S("land_limit_ha_year", 400.0, "ha/year", "outlook", low=0, high=100000, assumption=True, source="the estate's own"),
    S("discount_per_year", 0.08, "1/year", "outlook", low=0, high=0.5, assumption=True, source="the user's own"),
    S("uneven_planting_mxn_ha", 10000.0, "MXN per ha more or less than the season before", "outlook", low=0, high=200000, assumption=True, source="the user's own: idle or hurried nurseries and crews"),
    S("art_reference", 0.24, "t ART per t", "outlook", low=0.1, high=0.4, assumption=True, source="the sugar at which the kilograms per litre hold; Bautista-Justo et al. 2001: 0.244 and 0.268, trade 0.21"),
    S("stock_drawn_years", 5.0, "years", "outlook", low=0.5, high=50, assumption=True, source="the user's own: how fast stock beyond the ageing pipeline is sold off"),
    S("clearing_age_years", 8.0, "years", "outlook", low=5, high=14, assumption=True, source="common practice: the third pass takes the rest, a year or so after the first"),
    S("cohort_log_sd", 0.15, "1", "outlook", low=0.01, high=0.6, assumption=True, source="from memory: luck of one year's planting as a whole, log scale"),
    S("offsets_per_mother_year", 2.0, "offsets per mother aged 2–4 a year", "outlook", low=0, high=8, assumption=True, source="from memory: 1–3"),
    S("planting_season_ends", "07-31", "month-day", "outlook", "text", assumption=True, source="SAGARPA 2017: planted at the start of the rains", form=DAY_OF_YEAR),
    S("trend_damping", 0.9, "1", "outlook", low=0.5, high=1, assumption=True, source="damped trends hold up better at long range (Makridakis et al.)"),
    S("growth_doubt", 0.02, "1/year", "outlook", low=0, high=0.2, assumption=True, source="the user's own: how far growth may differ from any path, one standard deviation"),
    S("case_grow", 0.05, "1/year", "outlook", low=0, high=0.5, assumption=True, source="the case of growing sales"),
    S("case_fall", -0.03, "1/year", "outlook", low=-0.5, high=0, assumption=True, source="the case of falling sales"),
    S("own_classes", "", "class=years in wood; …", "outlook", "text", source="the user's own classes beside the norm's", form=CLASSES, example="cristalino=1; solera=3.5"),
    S("risk_weight", 0.0, "weight 0…1 on bad years", "outlook", low=0, high=1, source="the user's own"),
    S("futures", 200, "futures", "outlook", "whole", low=100, high=1000, source="100 at least; 200 solves in seconds"),
    S("horizon_years", 15, "years", "outlook", "whole", low=12, high=20, source="ripening time + longest ageing + 4"),
)
BY_NAME: dict[str, Setting] = {s.name: s for s in SETTINGS}
IN_ORDER = (("near_share", "ripe_share_to_cut"), ("young_age_months", "peak_age_months"), ("need_t_week", "need_high_t_week"), ("blend_low", "blend_high"))
"""Pairs of which the first should not exceed the second: said before saving, not refused (one of the two may be about to follow)."""


def words_code(kind: str, text: str) -> str:
    """Code of a unit's or a source's words (``unit.months``): made from its English text, which stays readable here."""
    named = text.replace("°", "deg ").replace("%", "percent ").replace("·", " by ").replace("…", " to ")
    return f"{kind}.{re.sub(r'[^a-z0-9]+', '_', named.lower()).strip('_')}"
