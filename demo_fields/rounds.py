"""What was read on a visit: °Brix with the instrument's own way of seeing, rows counted, piñas weighed, years checked."""

from __future__ import annotations

import math
from datetime import datetime

from demo_fields import history, laws
from demo_fields.log import Log, minutes
from demo_fields.planting import Plot
from demo_fields.streams import Luck
from demo_fields.visits import Visit

# instrument: (compensates, from °C, to °C, smallest step read)
INSTRUMENTS = {"R-01": ("no", None, None, 0.2), "R-02": ("no", None, None, 0.2), "R-03": ("yes", 10, 30, 0.1), "R-04": ("yes", 10, 40, 0.1), "R-05": ("yes", 10, 40, 0.1)}
PEOPLE = {"muestreo-1": ("Beto y Nacha", "Beto y Goyo"), "muestreo-2": ("Chayo y Memo", "Chayo y Lucio"), "agronomia": ("Inés", "Inés y Goyo")}
CREW = {"muestreo-1": "Muestreo Uno", "muestreo-2": "Muestreo Dos", "agronomia": "Agronomía"}
COLD = (8, 9, 11, 13, 15, 17, 16, 16, 16, 14, 11, 9)     # °C before sunrise at 1,400 m, by month
WARM = (25, 27, 30, 32, 33, 30, 27, 27, 27, 27, 26, 25)  # early afternoon


def juice_c(plot: Plot, at: datetime, luck: Luck) -> float:
    """Juice temperature: the air's day, damped by the plant, colder higher up."""
    lapse = 5.5 * (plot.place.altitude_m - 1400) / 1000
    part = min(1.0, max(0.0, (at.hour + at.minute / 60 - 6.5) / 7.5)) ** 0.9
    low, high = COLD[at.month - 1] + 5.0, WARM[at.month - 1] + 1.0
    return min(32.0, max(12.0, low + (high - low) * part - 0.8 * lapse + luck.normal(0, 0.7)))


def instrument_of(team: str, at: datetime, luck: Luck) -> str:
    if team == "agronomia":
        return "R-04"
    if luck.chance(0.06):
        return "R-05"
    if team == "muestreo-1":
        return "R-01" if at.isoformat() < "2026-03-09" else "R-03"
    return "R-02"


def seen(name: str, true_deg: float, temp_c: float, luck: Luck) -> float:
    """What the instrument shows for a juice of ``true_deg`` at 20 °C; past its range the compensation stands still."""
    atc, low, high, step = INSTRUMENTS[name]
    raw = laws.raw_reading(true_deg, temp_c)
    if atc == "yes":
        raw = true_deg + (laws.correction(raw, min(max(temp_c, low), high)) - laws.correction(raw, temp_c))
    return round(round((raw + luck.normal(0, 0.10)) / step) * step, 1)


def visit(log: Log, call: Visit) -> dict:
    """Records of one visit; returns the round."""
    plot, at, day = call.plot, call.at, call.at.date()
    luck = Luck(f"round {plot.code} {at.isoformat()}")
    age = plot.age_months(day) - plot.place.delay_months
    name = instrument_of(call.team, at, luck)
    atc, low, high, _ = INSTRUMENTS[name]
    step = max(1, plot.rows // 8)
    start = luck.whole(1, step)
    head = log.add("round", call.team, at, plot, here=luck, crew=CREW[call.team], people=luck.pick(PEOPLE[call.team]), instrument=name, atc=atc,
                   atc_low_c=low, atc_high_c=high, zero_check_deg=luck.pick((0, 0, 0, 0.1, -0.1)), start_row=start)
    spread = history.spread_at(plot, day)
    mean = plot.unpicked_mean(day) + luck.normal(0, laws.VISIT_SD_DEG)
    count = 10 if age < 50 else luck.pick((12, 12, 15, 15, 15, 20))
    keeps_temperature = atc == "no" or luck.chance(0.6)
    at += minutes(luck.uniform(5, 9))
    for k in range(count):
        temp = juice_c(plot, at, luck)
        true = max(3.0, mean + spread.draw(luck.uniform()))
        wounded = luck.chance(0.03 if plot.sick else 0.004)
        raw = seen(name, true - (2.5 if wounded else 0.0), temp, luck)
        log.add("reading", call.team, at, plot, round=head["id"], confirmed=int(raw < 6), row=1 + (start - 1 + (k * 8 // count) * step) % plot.rows,
                plant=luck.whole(3, max(4, int(plot.row_length_m / plot.plant_m) - 3)), brix_raw_deg=raw,
                juice_temp_c=round(temp * 2) / 2 if keeps_temperature else None, wounded=1 if wounded else None)
        at += minutes(luck.uniform(1.4, 2.6))
    if luck.chance(0.45 if age >= 34 else 0.7):
        _count_rows(log, call, head, at, luck)
        at += minutes(12)
    if age >= 48 and luck.chance(0.28):
        _weigh(log, call, head, at, name, mean, spread, luck)
    return head


def _count_rows(log: Log, call: Visit, head: dict, at: datetime, luck: Luck) -> None:
    plot, day = call.plot, call.at.date()
    share = plot.standing(day) / plot.planted
    rows = luck.pick((4, 5, 5, 6))
    step = plot.rows // rows
    first = luck.whole(1, step)
    for k in range(rows):
        length = plot.row_length_m * math.exp(luck.normal(-0.004, 0.09))
        slots = round(length / plot.plant_m)
        standing = luck.binomial(slots, min(0.995, max(0.02, share * (1 + luck.normal(0, 0.035)))))
        sick = luck.binomial(standing, 0.05 if plot.sick else 0.004)
        flower = luck.binomial(standing, plot.quiote_share) if plot.age_months(day) > 60 else 0
        capon = luck.binomial(flower, 0.6)
        log.add("row_count", call.team, at + minutes(2 * k), plot, round=head["id"], row=first + k * step, plants_standing=standing, gaps=slots - standing,
                replanted=luck.binomial(standing, plot.replanted_share) if plot.age_months(day) < 40 else None,
                sick_wilt=sick if plot.sick in ("wilt", "") and sick else 0, sick_bud_rot=sick if plot.sick == "bud_rot" else 0,
                sick_weevil=sick if plot.sick == "weevil" else 0, sick_grade=luck.pick((1, 2, 2, 3)) if sick else 0, quiote=flower - capon, capon=capon,
                rows_in_plot=plot.rows, row_length_m=round(length), part_of_row=None)


def _weigh(log: Log, call: Visit, head: dict, at: datetime, name: str, mean: float, spread: laws.Spread, luck: Luck) -> None:
    plot = call.plot
    spread_log = math.sqrt(math.log(1 + laws.PLANT_CV**2))
    for k in range(luck.whole(3, 6)):
        kg = plot.pina_kg(call.at.date()) * math.exp(luck.normal(-spread_log**2 / 2, spread_log))
        raw = seen(name, mean + spread.draw(luck.uniform()), 20.0, luck) if INSTRUMENTS[name][0] == "yes" and luck.chance(0.6) else None
        log.add("weighing", call.team, at + minutes(4 * k), plot, round=head["id"], mass_kg=round(kg * 2) / 2, brix_raw_deg=raw, cut_style="short")


def check_years(log: Log, visits: list[Visit], doubted: set[str]) -> None:
    """On a first visit the crew says the year; where the office has it wrong, two visits say so."""
    luck, told = Luck("age checks"), {}
    for call in visits:
        code, n = call.plot.code, told.get(call.plot.code, 0)
        wanted = n < 2 if code in doubted else n == 0 and luck.chance(0.22)
        if wanted:
            log.add("age_check", call.team, call.at + minutes(3), call.plot, planting_year=call.plot.planted_on.year, sure=1 if code in doubted or luck.chance(0.8) else 0)
            told[code] = n + 1
