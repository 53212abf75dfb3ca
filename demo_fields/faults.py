"""The dirt of real life, put in on purpose, and the list of it."""

from __future__ import annotations

from datetime import datetime, timedelta

from demo_fields.history import LOCAL
from demo_fields.log import Log, minutes
from demo_fields.planting import Plot
from demo_fields.rounds import INSTRUMENTS
from demo_fields.streams import Luck


class Faults:
    """Puts faults in and keeps the list: kind of fault, record or plot, the product's finding, in words."""

    def __init__(self) -> None:
        self.rows: list[dict] = []
        self._luck = Luck("faults")

    def note(self, fault: str, subject: str, finding: str, words: str) -> None:
        self.rows.append({"fault": fault, "subject": subject, "finding": finding, "in_words": words})

    def missing_date(self, plots: list[Plot]) -> str:
        plot = next(p for p in plots if p.planted_on.year == 2022 and p.zone == "Los Hornos")
        plot.said_planted_on = None
        self.note("no_planting_date", plot.code, "no_planting_date", "the paper with the planting date was lost; the plot loads and asks for it")
        return plot.code

    def wrong_years(self, plots: list[Plot]) -> set[str]:
        """Two plots whose papers say a year earlier than it was; crews say the right year."""
        found = [p for p in plots if p.status == "standing" and p.planted_on.year == 2021 and not p.taken][1:7:4]
        for plot in found:
            plot.said_planted_on = plot.planted_on.replace(year=plot.planted_on.year - 1)
            self.note("wrong_planting_year", plot.code, "age_differs", f"papers say {plot.said_planted_on.year}, planted in {plot.planted_on.year}; two age checks say so")
        return {p.code for p in found}

    def in_records(self, log: Log, rounds: list[dict], plots: dict[str, Plot], loads: list) -> None:
        """Faults of the survey; ``loads`` are (load, record) pairs."""
        by_round: dict[str, list[dict]] = {}
        for row in log.rows:
            if row["round"]:
                by_round.setdefault(row["round"], []).append(row)
        readings = {r["id"]: [x for x in by_round[r["id"]] if x["kind"] == "reading"] for r in rounds}
        ripe = [r for r in rounds if plots[r["plot"]].planted_on.year <= 2020 and plots[r["plot"]].status == "standing"]
        pool = self._luck.shuffled(ripe)

        def take(good=lambda r: True) -> dict:
            """A round no other fault uses."""
            return pool.pop(next(i for i, r in enumerate(pool) if good(r)))
        self._slipped(readings[take()["id"]][4], 10.0)
        self._slipped(readings[take()["id"]][7], 0.1)
        self._mistyped(log, readings, take, plots)
        self._sun(take(lambda r: r["instrument"] == "R-02"), readings)
        self._flag(take(lambda r: r["instrument"] == "R-02" and readings[r["id"]][0]["juice_temp_c"] >= 25), "yes")
        self._flag(take(lambda r: r["instrument"] == "R-04" and readings[r["id"]][0]["juice_temp_c"]), "no")
        self._twice(log, take(lambda r: any(x["kind"] == "row_count" for x in by_round[r["id"]])), by_round, plots)
        self._clock(log, take(lambda r: "2026-05" < r["taken_at"] < "2026-09"), by_round, plots, timedelta(days=365), "held in the future")
        self._clock(log, take(lambda r: "2025-09" < r["taken_at"] < "2026-02"), by_round, plots, None, "before the plants were planted")
        halved = [pair for pair in loads if pair[0].pieces and pair[1]["plants"] and pair[1]["ticket"]]
        for load, row in self._luck.shuffled(halved)[:3]:
            row["plants"], row["pieces"] = round(load.plants * self._luck.uniform(1.75, 1.95)), None
            self.note("pieces_as_plants", row["id"], "pieces_as_plants", f"{row['plants']} pieces written as plants; {load.plants} piñas were cut")

    def _slipped(self, row: dict, factor: float) -> None:
        right = row["brix_raw_deg"]
        row["brix_raw_deg"] = round(right * factor, 2)
        self.note("slipped_decimal", row["id"], "above" if factor > 1 else "slipped_decimal", f"{row['brix_raw_deg']} for {right} °Bx")

    def _mistyped(self, log: Log, readings, take, plots) -> None:
        """No fault left: eight readings typed wrong and put right on the spot, one taken back. The product must use the right ones."""
        for _ in range(8):
            head = take()
            row = readings[head["id"]][3]
            phone = next(p for p in ("muestreo-1", "muestreo-2", "agronomia") if log.install(p, log.when(row)) == row["install"])
            right = row["brix_raw_deg"]
            row["brix_raw_deg"] = round(right + self._luck.pick((-9.0, 3.0, 10.0, -3.0)), 1)
            log.add("reading", phone, log.when(row) + minutes(0.4), plots[row["plot"]], round=row["round"], replaces=row["id"],
                    **{k: row[k] for k in ("row", "plant", "juice_temp_c", "wounded")}, brix_raw_deg=right)
        row = readings[take()["id"]][5]
        phone = next(p for p in ("muestreo-1", "muestreo-2", "agronomia") if log.install(p, log.when(row)) == row["install"])
        log.add("void", phone, log.when(row) + minutes(0.5), plots[row["plot"]], round=row["round"], replaces=row["id"], why="planta equivocada, era de la otra tabla")

    def _sun(self, head: dict, readings) -> None:
        for n, row in enumerate(readings[head["id"]][3:]):
            row["juice_temp_c"] = 46.0 + min(6.0, 1.5 * n)
        self.note("thermometer_in_sun", head["id"], "hot_thermometer", "from the fourth plant on the thermometer lay in the sun: 46 to 52 °C; the juice was near the first three")

    def _flag(self, head: dict, wrong: str) -> None:
        right = head["atc"]
        head["atc"] = wrong
        head["atc_low_c"], head["atc_high_c"] = (10, 30) if wrong == "yes" else (None, None)
        assert INSTRUMENTS[head["instrument"]][0] == right
        self.note("atc_flag_wrong", head["id"], "atc_flag", f"{head['instrument']} said atc={wrong}; every other round says {right}")

    def _twice(self, log: Log, head: dict, by_round, plots) -> None:
        """The helper tapped the same paper tally into her own phone."""
        at = log.when(head) + minutes(64)
        plot, fixed = plots[head["plot"]], ("id", "install", "seq", "round", "kind", "plot", "taken_at", "lat", "lon", "accuracy_m", "confirmed", "replaces")
        first = log.install("agronomia", at) == head["install"]
        phone = "muestreo-2" if first else "agronomia"
        again = log.add("round", phone, at, plot, **{k: v for k, v in head.items() if k not in fixed})
        for n, row in enumerate(r for r in by_round[head["id"]] if r["kind"] in ("reading", "row_count") and not r["replaces"]):
            log.add(row["kind"], phone, at + minutes(0.3 * (n + 1)), plot, round=again["id"], **{k: v for k, v in row.items() if k not in fixed})
        self.note("tally_twice", again["id"], "double_tally", f"the same tally as round {head['id']}, from another phone an hour later")

    def _clock(self, log: Log, head: dict, by_round, plots, ahead: timedelta | None, words: str) -> None:
        """Shift what a phone wrote: a year ahead, or back to its first day after an empty battery."""
        start = log.when(head)
        shift = ahead if ahead else datetime(2016, 1, 1, 0, 4, tzinfo=LOCAL) - start
        for row in (head, *by_round[head["id"]]):
            row["taken_at"] = (log.when(row) + shift).isoformat(timespec="seconds")
        self.note("wrong_clock", head["id"], "future" if ahead else "before_planting", f"taken {start.date()}, written {head['taken_at'][:10]}: {words}")
