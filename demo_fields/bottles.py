"""Sales by month, stock in wood, and agave bought outside: three invented markets, two categories, five classes."""

from __future__ import annotations

import math

from demo_fields.streams import Luck

MARKETS = ("Casa", "Norte", "Ultramar")
CLASSES = ("blanco", "reposado", "añejo", "extra añejo", "joven")
# litres of bottles in 2025, growth a year up to 2022 and since, by category, class and market
LINES = {
    ("100 %", "blanco"): ((249_000, 0.05, 0.01), (631_000, 0.11, 0.03), (188_000, 0.09, 0.05)),
    ("100 %", "reposado"): ((261_500, 0.04, 0.01), (296_500, 0.09, 0.02), (88_500, 0.08, 0.04)),
    ("100 %", "añejo"): ((43_500, 0.05, 0.02), (97_000, 0.10, 0.04), (27_500, 0.09, 0.05)),
    ("100 %", "extra añejo"): ((8_000, 0.10, 0.04), (25_500, 0.14, 0.06), (8_500, 0.12, 0.07)),
    ("100 %", "joven"): ((36_000, 0.02, 0.00), (64_500, 0.06, 0.02), (19_000, 0.05, 0.02)),
    ("51 %", "blanco"): ((198_500, 0.00, -0.03), (354_500, 0.01, -0.02), (115_000, 0.03, 0.00)),
    ("51 %", "reposado"): ((150_000, 0.00, -0.03), (64_500, 0.01, -0.02), (15_000, 0.02, 0.00)),
    ("51 %", "añejo"): ((6_500, -0.01, -0.02), (8_500, 0.00, -0.01), (0, 0, 0)),
    ("51 %", "joven"): ((214_000, 0.01, -0.02), (367_000, 0.02, -0.02), (101_500, 0.03, 0.01)),
}
SEASON = {"Casa": (0.82, 0.86, 0.95, 1.02, 1.10, 0.97, 0.96, 0.98, 1.12, 0.98, 1.08, 1.16),
          "Norte": (0.80, 0.88, 1.00, 1.12, 1.12, 1.02, 1.00, 0.98, 0.98, 1.04, 1.08, 0.98),
          "Ultramar": (0.86, 0.90, 0.98, 1.00, 1.04, 1.08, 1.06, 0.90, 0.96, 1.02, 1.12, 1.08)}
SHARED_NOISE, OWN_NOISE = 0.03, 0.07
# litres at 40 % vol lying in wood, by whole years
STOCK = {("100 %", "reposado"): (318_000,), ("100 %", "añejo"): (171_000, 64_000), ("100 %", "extra añejo"): (58_000, 55_000, 49_000, 21_000),
         ("51 %", "reposado"): (74_000,), ("51 %", "añejo"): (13_000, 4_000)}
# tonnes of agave bought from other growers and the price in MXN per kg; a third of the need in the leanest year
BOUGHT = {2019: (2_150, 24.5), 2020: (3_420, 28.0), 2021: (4_460, 30.5), 2022: (4_120, 31.0), 2023: (2_380, 22.0), 2024: (1_040, 12.5), 2025: (760, 8.0), 2026: (610, 7.5)}


def sales() -> list[dict]:
    """Rows of market, category, class, month, litres from 2019-01 to 2026-10."""
    shared, rows = Luck("sales together"), []
    months = [(y, m) for y in range(2019, 2027) for m in range(1, 13) if (y, m) <= (2026, 10)]
    tide = {month: shared.normal(0, SHARED_NOISE) - (0.16 if (2020, 4) <= month <= (2020, 6) else 0.0) for month in months}
    for m, market in enumerate(MARKETS):
        for (category, kind), lines in LINES.items():
            base, early, late = lines[m]
            if not base:
                continue
            luck = Luck(f"sales {market} {category} {kind}")
            for year, month in months:
                at = year + (month - 0.5) / 12
                trend = math.log1p(late) * (max(at, 2022.5) - 2025.5) + math.log1p(early) * min(at - 2022.5, 0.0)
                litres = base / 12 * math.exp(trend + tide[year, month] + luck.normal(0, OWN_NOISE)) * SEASON[market][month - 1]
                rows.append({"market": market, "category": category, "class": kind, "month": f"{year}-{month:02d}", "litres": round(litres / 9) * 9})
    return rows


def stock() -> list[dict]:
    return [{"category": c, "class": k, "age_years": age, "litres": litres} for (c, k), ages in STOCK.items() for age, litres in enumerate(ages)]


def bought() -> list[dict]:
    return [{"year": year, "mass_t": t, "paid_mxn": round(t * price * 1000)} for year, (t, price) in BOUGHT.items()]
