"""Who owns which ground, what was planted when and how: the attributes of every plot, with its hidden traits."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from demo_fields import laws, layout, names
from demo_fields.streams import Luck

TODAY = date(2026, 11, 23)
PLOTS, AREA_HA = 190, 1900.0
PLACES = {"Vado Seco": ((-1200.0, -3500.0), 14), "Los Hornos": ((-3500.0, 1500.0), 18), "Mesa del Tule": ((2300.0, 300.0), 15), "Loma Alta": ((4200.0, 4700.0), 13)}
# hectares planted by year: good years eight and nine years ago, too little six and five years ago, too much last year
UNEVEN = {2017: 220, 2018: 240, 2019: 190, 2020: 66, 2021: 54, 2022: 122, 2023: 185, 2024: 215, 2025: 476, 2026: 132}
BALANCED = {year: 190 for year in range(2017, 2027)}


@dataclass
class Plot:
    """One plot: what the office knows, and below ``planted_on`` what only the truth knows."""

    code: str
    name: str
    zone: str
    parcel: str
    corners: tuple
    area_ha: float
    row_m: float
    plant_m: float
    offset_cm: int
    gate: str
    planted_on: date
    rows: int
    row_length_m: float
    planted: int
    said_planted_on: date | None = None
    says_planted: bool = True
    pace_months: float = 0.0
    level_deg: float = 0.0
    size: float = 1.0
    mortality: float = 0.03
    replanted_share: float = 0.05
    sick: str = ""
    quiote_share: float = 0.0
    status: str = "standing"
    losses: list = field(default_factory=list)     # (day, cause, share)
    taken: list = field(default_factory=list)      # (day, plants): cut load by load
    passes: list = field(default_factory=list)     # (day the pass ended, share of the standing plants it took)

    @property
    def place(self) -> laws.Zone:
        return laws.ZONES[self.zone]

    def age_months(self, day: date) -> float:
        return laws.months(self.planted_on, day)

    def grown_share(self, day: date) -> float:
        """Share of the planted alive at ``day`` if nothing was cut; first-year losses are made good by replanting."""
        alive = (1.0 - self.mortality) ** max(0.0, self.age_months(day) / 12 - 1.0)
        for when, _, share in self.losses:
            if when <= day:
                alive *= 1.0 - share
        return alive

    def standing(self, day: date) -> float:
        """Plants alive at ``day`` after what was cut. Cut plants would have died at the plot's rate too, so they are counted at their own day."""
        if self.status == "cut" and (not self.taken or self.taken[-1][0] <= day):
            return 0.0
        left, last = self.planted * self.grown_share(self.planted_on), self.planted_on
        for when, plants in self.taken:
            if when <= day:
                left = left * self.grown_share(when) / self.grown_share(last) - plants
                last = when
        return max(0.0, left * self.grown_share(day) / self.grown_share(last))

    def pina_kg(self, day: date) -> float:
        age = self.age_months(day)
        return (1 - self.replanted_share) * laws.pina_kg(self.place, age, self.size) + self.replanted_share * laws.pina_kg(self.place, age - 12, self.size)

    def unpicked_mean(self, day: date) -> float:
        return laws.plot_mean(self.place, self.age_months(day), day, self.pace_months, self.level_deg)


@dataclass
class Parcel:
    code: str
    name: str
    registry: str
    tenure: str
    lease_end: date | None
    registered: int = 0


def make(hectares: dict[int, float]) -> tuple[list[Plot], dict[str, Parcel], dict[str, list]]:
    """Plots, parcels by code, and free ground by zone."""
    pieces, free = layout.estate(PLACES, PLOTS, AREA_HA)
    parcels = _parcels(pieces)
    years = _years(pieces, hectares)
    luck, plot_names = Luck("plots"), Luck("plot names").shuffled(names.PLOTS[3:])
    spare = iter(names.PLOTS[:3] + plot_names)
    numbers: dict[str, int] = {}
    plots = []
    for piece, year in zip(pieces, years):
        zone = laws.ZONES[piece.zone]
        numbers[zone.short] = numbers.get(zone.short, 0) + 1
        area = layout.area_m2(piece.corners)
        high = zone.altitude_m > 1700
        row = luck.pick((2.8, 2.8, 3.0, 3.0) if high else (3.0, 3.0, 3.2, 3.2, 3.5))
        apart = luck.pick((1.0, 1.1, 1.1, 1.2) if high else (1.0, 1.1, 1.1, 1.0))
        width = (area * luck.uniform(0.55, 0.95)) ** 0.5
        used = area * luck.uniform(0.93, 0.97)     # headlands and tracks inside
        rows = max(12, round(width / row))
        length = used / (rows * row)
        planted_on = date(year, 6, 8) + timedelta(days=luck.whole(0, 72) if year < 2026 else luck.whole(0, 50))
        plot = Plot(f"{zone.short}-{numbers[zone.short]:02d}", next(spare), piece.zone, f"{zone.short}{piece.parcel + 1:02d}", piece.corners, area / 1e4, row, apart,
                    luck.pick((30, 35, 40, 45, 50)), luck.pick(names.GATES), planted_on, rows, round(length, 1), round(rows * length / apart))
        plot.said_planted_on = planted_on
        plot.says_planted = luck.chance(0.8)
        plots.append(plot)
    _rename(plots)
    _traits(plots)
    for plot in plots:
        parcels[plot.parcel].registered += plot.planted
    for parcel in parcels.values():
        youngest = max(p.planted_on.year for p in plots if p.parcel == parcel.code)
        if parcel.lease_end:   # nobody rents for less than the plants need
            parcel.lease_end = parcel.lease_end.replace(year=max(youngest + 9, 2028))
        parcel.registered = -(-round(parcel.registered * 1.02) // 50) * 50
    return plots, parcels, free


def end_leases(plots: list[Plot], parcels: dict[str, Parcel]) -> None:
    """Three rented parcels with nothing but old plots run out inside the next half year, one a little later: a hard last cut."""
    old = []
    for code, parcel in sorted(parcels.items()):
        standing = [p for p in plots if p.parcel == code and p.status == "standing"]
        if standing and all(p.planted_on.year <= 2019 for p in standing) and parcel.tenure != "shared":
            old.append((parcel.tenure != "leased", sum(p.area_ha for p in standing), code))
    for (_, _, code), end in zip(sorted(old), (date(2027, 3, 31), date(2027, 1, 31), date(2027, 5, 15), date(2027, 9, 30))):
        parcels[code].tenure, parcels[code].lease_end = "leased", end


def _rename(plots: list[Plot]) -> None:
    """The plot the crews talk about most keeps its name and code."""
    first = next(p for p in plots if p.code == "VS-04")
    holder = next(p for p in plots if p.name == "El Tapia")
    first.name, holder.name = holder.name, first.name


def _parcels(pieces) -> dict[str, Parcel]:
    luck = Luck("parcels")
    codes = sorted({(laws.ZONES[p.zone].short, p.parcel) for p in pieces})
    kinds = luck.shuffled(["leased"] * names.LANDLORDS + ["shared"] + ["owned"] * (len(codes) - names.LANDLORDS - 1))
    found = {}
    for i, ((short, number), name, kind) in enumerate(zip(codes, luck.shuffled(names.PARCELS), kinds)):
        end = date(2028, *luck.pick(((3, 31), (5, 31), (6, 30), (12, 31)))) if kind == "leased" else None
        found[f"{short}{number + 1:02d}"] = Parcel(f"{short}{number + 1:02d}", name, f"RPP-{4100 + 17 * i}", kind, end)
    return found


def _years(pieces, hectares: dict[int, float]) -> list[int]:
    """A planting year for every plot: neighbours of a parcel in one or two campaigns, hectares by year as asked."""
    luck = Luck("years")
    scale = sum(layout.area_m2(p.corners) for p in pieces) / 1e4 / sum(hectares.values())
    left = {year: ha * scale for year, ha in hectares.items()}
    groups: dict = {}
    for i, piece in enumerate(pieces):
        groups.setdefault((piece.zone, piece.parcel), []).append(i)
    chosen = [0] * len(pieces)
    for key in luck.shuffled(sorted(groups)):
        members = groups[key]
        rank = sorted(left, key=lambda y: -left[y] / hectares[y] * luck.uniform(0.8, 1.2))
        campaigns = rank[:1] if len(members) == 1 or luck.chance(0.35) else rank[:2]
        for n, i in enumerate(members):
            area = layout.area_m2(pieces[i].corners) / 1e4
            year = campaigns[n * len(campaigns) // len(members)]
            if left[year] < 0.5 * area:
                year = max(left, key=left.get)
            chosen[i] = year
            left[year] -= area
    return chosen


def _traits(plots: list[Plot]) -> None:
    for plot in plots:
        luck = Luck(f"traits {plot.code}")
        plot.pace_months = round(luck.normal(0, laws.PACE_SD_MONTHS), 2)
        plot.level_deg = round(luck.normal(0, laws.LEVEL_SD_DEG), 3)
        plot.size = luck.lognormal(1.0, 0.14)
        plot.mortality = min(0.09, luck.lognormal(0.028, 0.35))
        plot.replanted_share = luck.uniform(0.03, 0.08)
        plot.quiote_share = luck.uniform(0.002, 0.012)
        if luck.chance(0.09) and plot.planted_on.year < 2024:
            plot.sick = luck.pick(("wilt", "wilt", "bud_rot", "weevil"))
            plot.mortality += luck.uniform(0.02, 0.05)
