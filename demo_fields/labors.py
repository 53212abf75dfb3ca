"""Field work, losses, loads, laboratory sugar and remarks."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from demo_fields import laws
from demo_fields.history import LOCAL, Campaign, Load
from demo_fields.log import Log, minutes
from demo_fields.planting import TODAY, Plot
from demo_fields.streams import Luck

LABS = (("Laboratorio de planta", 0.0), ("Laboratorio Los Ámbares", 0.4))
SPRAYS = (("jabón potásico", 12, 7), ("insecticida de contacto", 24, 30), ("fungicida cúprico", 48, 21), ("herbicida dirigido", 24, 14))
REMARKS = (
    "El portón quedó sin candado.", "Hay picudo en los surcos de la orilla.", "Se ve pareja, falta poco.", "Mucha hierba, no se ve el número de surco.",
    "La brecha está cortada junto al arroyo.", "Planta chica en la parte alta, abajo mejor.", "Ganado del vecino adentro otra vez.", "Quiotes tempranos en la ladera.",
    "El tambo del agua está vacío.", "Hijuelo bueno para sacar en esta tabla.", "Se oyeron motosierras en la noche, avisar.", "Abejas en el surco 12, cuidado.",
    "Camión grande no da la vuelta en la entrada.", "Pencas amarillas, revisar marchitez.", "Dijo el cabo que aquí faltan dos surcos en el plano.", "Lluvia a media mañana, se dejó a la mitad.")
GRADES = {"wilt": "marchitez", "bud_rot": "pudrición del cogollo", "weevil": "picudo"}


def _morning(day: date, luck: Luck) -> datetime:
    return datetime(day.year, day.month, day.day, luck.whole(8, 13), luck.whole(0, 59), tzinfo=LOCAL)


def trucks(log: Log, loads: list[Load]) -> list[tuple[Load, dict]]:
    """One load record a truck, by the crew's phone; the last one is still on the way to the scale."""
    luck, made = Luck("load records"), []
    for load in loads:
        campaign, ticket = load.campaign, f"B-{20417 + load.number}"
        on_the_way = load is loads[-1]
        plants = load.plants if luck.chance(0.96) else None
        made.append((load, log.add(
            "load", campaign.crew, load.at, campaign.plot, here=luck if load.number % 4 == 0 else None, crew=campaign.crew, truck=load.truck, plants=plants, pieces=load.pieces,
            cut_style=campaign.style, clearing=int(campaign.clearing), gross_kg=None if on_the_way else load.gross_kg, tare_kg=None if on_the_way else load.tare_kg,
            net_kg=None if on_the_way else load.net_kg, ticket=None if on_the_way else ticket, folio=f"G-{88120 + 3 * load.number}")))
    for load, row in [made[i] for i in (151, 689)]:   # the office found the tare typed wrong and said so
        right = dict(row)
        row["tare_kg"], row["net_kg"] = load.tare_kg + 900, load.net_kg - 900
        log.add("load", "oficina", load.at + timedelta(days=2), load.campaign.plot, replaces=row["id"],
                **{k: right[k] for k in ("crew", "truck", "plants", "pieces", "cut_style", "clearing", "gross_kg", "tare_kg", "net_kg", "ticket", "folio")})
    return made


def sugars(log: Log, made: list[tuple[Load, dict]]) -> None:
    """Every second load or so is sampled; the answer comes three to six days later."""
    luck = Luck("lab")
    for load, row in made:
        when = load.at + timedelta(days=luck.whole(3, 6), hours=luck.whole(0, 3))
        name, bias = LABS[0] if luck.chance(0.75) else LABS[1]
        value = laws.art_percent(load.brix_deg) + bias + luck.normal(0, 0.5)
        if luck.chance(0.55) and row["ticket"] and when.date() < TODAY:
            log.add("lab", "oficina", when, load.campaign.plot, load=row["id"], ticket=row["ticket"], art_percent=round(value, 1), lab_name=name)


def marks(log: Log, campaigns: list[Campaign], plots: list[Plot]) -> None:
    """Ripe plants marked some days before a selective pass; two plots are marked and wait."""
    luck = Luck("marks")
    for c in campaigns:
        if not c.clearing and c.start > date(2025, 5, 30):
            log.add("marking", c.crew, _morning(c.start - timedelta(days=luck.whole(3, 8)), luck), c.plot, here=luck,
                    marked_plants=round(c.at_start * c.share * luck.uniform(0.94, 1.05)), pass_number=c.number)
    waiting = [p for p in plots if p.status == "standing" and p.planted_on.year == 2020 and p.unpicked_mean(TODAY) > 23.5 and not p.taken]
    for plot in waiting[:2]:
        log.add("marking", "agronomia", _morning(date(2026, 11, 18), luck), plot, here=luck, marked_plants=round(plot.standing(TODAY) * 0.45), pass_number=1)


def lost(log: Log, plots: list[Plot], campaigns: list[Campaign]) -> None:
    """What people noticed and wrote down of the losses: most, not all."""
    luck = Luck("loss records")
    for plot in plots:
        if plot.status == "cut" and not plot.taken:
            continue
        for when, cause, share in plot.losses:
            gone = plot.taken and plot.status == "cut" and plot.taken[-1][0] < when
            if luck.chance(0.85) and date(2025, 5, 19) < when and not gone:
                counted = luck.chance(0.75)
                plants = round(plot.standing(when - timedelta(days=1)) * share * luck.uniform(0.9, 1.1))
                log.add("loss", luck.pick(("agronomia", "muestreo-1", "muestreo-2")), _morning(when + timedelta(days=luck.whole(1, 12)), luck), plot, here=luck, cause=cause,
                        plants=(round(plants, -1) if plants > 200 else plants) if counted else None, area_share=None if counted else round(share, 2))
    for c in campaigns:
        if c.clearing and c.end and luck.chance(0.7):
            log.add("loss", c.crew, _morning(c.end, luck) + minutes(200), c.plot, cause="left", plants=max(1, round(c.at_start * 0.025 * luck.uniform(0.8, 1.2))), area_share=None)


def field_work(log: Log, plots: list[Plot]) -> None:
    """Weeding and fertilising with the rains, leaf pruning, sprays with their intervals, quiotes, replanting."""
    luck = Luck("labors")

    def add(plot, day, labor, **fields):
        if date(2025, 5, 19) <= day < TODAY and plot.standing(day) > 0 and day > plot.planted_on:
            log.add("labor", plot_crew(plot), _morning(day, luck), plot, labor=labor, **fields)
    for plot in plots:
        if plot.status == "cut" and not plot.taken:
            continue
        for year in (2025, 2026):
            age = year - plot.planted_on.year
            if 0 <= age <= 5 and luck.chance(0.5):
                add(plot, date(year, 8, 3) + timedelta(days=luck.whole(0, 50)), "weeding")
            if 1 <= age <= 4 and luck.chance(0.35):
                add(plot, date(year, 6, 18) + timedelta(days=luck.whole(0, 30)), "fertilising")
            if age in (4, 5, 6) and luck.chance(0.4):
                add(plot, date(year, 2, 5) + timedelta(days=luck.whole(0, 60)), "leaf_pruning")
            if 1 <= age <= 6 and (plot.sick or luck.chance(0.12)):
                product, hours, days = SPRAYS[1 if plot.sick == "weevil" else luck.whole(0, 3)]
                add(plot, date(year, 7, 1) + timedelta(days=luck.whole(0, 70)), "spraying", product=product, reentry_hours=hours, harvest_days=days)
            if age >= 6 and luck.chance(0.3):
                add(plot, date(year, 4, 10) + timedelta(days=luck.whole(0, 40)), "quiote_cutting", plants=max(1, round(plot.planted * plot.quiote_share * luck.uniform(0.5, 1))))
            if age == 1:
                add(plot, date(year, 7, 8) + timedelta(days=luck.whole(0, 25)), "replanting", plants=round(plot.planted * plot.replanted_share, -1))
    ripe = sorted((p for p in plots if p.status == "standing" and p.planted_on.year <= 2019 and not p.taken), key=lambda p: p.code)
    for plot, day in zip(ripe[1:3], (date(2026, 11, 12), date(2026, 11, 17))):
        add(plot, day, "spraying", product=SPRAYS[1][0], reentry_hours=SPRAYS[1][1], harvest_days=SPRAYS[1][2])


def plot_crew(plot: Plot) -> str:
    return {"Los Hornos": "Los Tordos", "Vado Seco": "Los Mezquites", "Mesa del Tule": "La Cuadrilla de Chema", "Loma Alta": "Los de la Loma"}[plot.zone]


def remarks(log: Log, visits) -> None:
    luck = Luck("remarks")
    for call in visits:
        if luck.chance(0.09):
            sick = GRADES.get(call.plot.sick)
            text = f"Sigue la {sick}, ahora en más surcos.".replace("la picudo", "el picudo") if sick else luck.pick(REMARKS)
            log.add("remark", call.team, call.at + minutes(luck.uniform(10, 40)), call.plot, here=luck, text=text)
