"""The doors of the outlook: load sales, stock and purchases; ask how much to plant."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING

import sqlite_utils

from .. import answers, clock, settings
from ..crop import service as crop
from ..database import atomic
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..ripeness import service as ripeness
from ..sentences import Sentence
from ..solver import Progress, no_progress
from ..survey import service as survey
from ..tonnage import service as tonnage
from ..weeks import week_of
from . import sales_file, store

if TYPE_CHECKING:
    import pandas as pd

    from .assess import Ask

STAGE = "outlook"
SEED = 20261123


@dataclass(frozen=True)
class LoadReport:
    """What a file brought: ``kind`` sales, stock or bought; rows new, changed, the same, gone; notes on what was guessed."""

    kind: str
    rows: int
    new: int
    changed: int
    same: int
    gone: int
    notes: tuple[Sentence, ...]

    def as_dict(self) -> dict:
        return {**asdict(self), "notes": [n.as_dict() for n in self.notes]}


def load_sales(db: sqlite_utils.Database, data: bytes, filename: str, who: str) -> LoadReport:
    """Load a CSV of sales (or stock, or purchases: the headings tell). A month loaded again is replaced, never added.

    Raises the Problems of ``sales_file.read`` and ``sales_in_the_future``; nothing is stored then.
    """
    return _load(db, data, filename, who, None)


def load_stock(db: sqlite_utils.Database, data: bytes, filename: str, who: str) -> LoadReport:
    """Litres in wood and tank today, at 40 % vol, by category, class and whole years; the file replaces what was known."""
    return _load(db, data, filename, who, "stock")


def load_bought(db: sqlite_utils.Database, data: bytes, filename: str, who: str) -> LoadReport:
    """Agave bought outside by year: tonnes, and pesos where known."""
    return _load(db, data, filename, who, "bought")


def _load(db: sqlite_utils.Database, data: bytes, filename: str, who: str, kind: str | None) -> LoadReport:
    own = sales_file.own_classes(settings.load(db)["own_classes"])
    table = sales_file.read(data, filename, own, kind)
    if table.kind == "sales":
        now = clock.of(db).today().isoformat()[:7]
        late = sorted({row["month"] for row in table.rows if row["month"] > now})
        if late:
            raise Problem("sales_in_the_future", where=filename, month=late[0], n=len(late))
    with atomic(db):
        count = store.put(db, table.kind, table.rows, filename, replace=table.kind == "stock")
        people.note(db, who, f"load_{table.kind}", filename, after=count)
    return LoadReport(table.kind, len(table.rows), count["new"], count["changed"], count["same"], count["gone"], table.notes)


def sales(db: sqlite_utils.Database) -> "pd.DataFrame":
    """Columns market, category, class, month (``YYYY-MM``), litres (as bottled), source; sorted by all four keys."""
    return _frame(store.all_of(db, "sales"), ["market", "category", "class", "month", "litres", "source"])


def stock(db: sqlite_utils.Database) -> "pd.DataFrame":
    """Columns category, class, age_years, litres (at 40 % vol), source."""
    return _frame(store.all_of(db, "stock"), ["category", "class", "age_years", "litres", "source"])


def bought(db: sqlite_utils.Database) -> "pd.DataFrame":
    """Columns year, mass_t, paid_mxn, source."""
    return _frame(store.all_of(db, "bought"), ["year", "mass_t", "paid_mxn", "source"])


def _frame(rows: list[dict], columns: list[str]) -> "pd.DataFrame":
    import pandas as pd

    return pd.DataFrame(rows, columns=columns)


def set_stock(db: sqlite_utils.Database, rows: list[dict], who: str) -> dict[str, int]:
    """Replace the stock by rows of category, class, age_years, litres (at 40 % vol)."""
    own = sales_file.own_classes(settings.load(db)["own_classes"])
    checked = sales_file.checked_rows("stock", rows, own)
    with atomic(db):
        count = store.put(db, "stock", checked, "hand", replace=True)
        people.note(db, who, "set_stock", "stock", after=count)
    return count


def set_bought(db: sqlite_utils.Database, rows: list[dict], who: str) -> dict[str, int]:
    """Add or replace years of agave bought outside: year, mass_t, paid_mxn."""
    checked = sales_file.checked_rows("bought", rows, {})
    with atomic(db):
        count = store.put(db, "bought", checked, "hand")
        people.note(db, who, "set_bought", "bought", after=count)
    return count


def paths(db: sqlite_utils.Database) -> list[dict]:
    """The user's own growth paths: name, market, category, class (``*`` for any), per_year, weight."""
    return store.paths(db)


def set_path(db: sqlite_utils.Database, name: str, rows: list[dict], weight: float, who: str) -> None:
    """Set or (with no rows) remove an own growth path; it then counts among the futures with its weight."""
    name = name.strip()[:60]
    if not name or name in ("trend", "grow", "flat", "fall"):
        raise Problem("path_name", where=name)
    for row in rows:
        if not -0.5 <= float(row["per_year"]) <= 0.5 or not 0 < weight <= 100:
            raise Problem("path_out_of_range", where=name, per_year=row["per_year"], weight=weight)
    with atomic(db):
        store.set_path(db, name, [{"market": "*", "category": "*", "class": "*", **row} for row in rows], float(weight))
        people.note(db, who, "set_path", name, after={"rows": len(rows), "weight": weight})


def key_now(db: sqlite_utils.Database, futures: int | None = None) -> str:
    """The key of an answer made now: records and land, sales, settings, the week, and the number of futures."""
    values = settings.load(db)
    return answers.key_of(data=survey.data_version(db), sales=store.version(db), settings=values.version, week=week_of(clock.of(db).today()),
                          futures=int(futures or values["futures"]))


def stale(db: sqlite_utils.Database, answer: answers.Answer) -> bool:
    """Whether records, sales or settings have moved on since the answer was made."""
    return answer.key != key_now(db, answer.meta["futures"])


def answer(db: sqlite_utils.Database, fresh: bool = False) -> answers.Answer:
    """The newest stored answer; made now when there is none, or when ``fresh`` is asked and the key has moved."""
    found = answers.get(db, STAGE, key_now(db)) if fresh else answers.latest(db, STAGE)
    return found or answers.get(db, STAGE, make(db))


def make(db: sqlite_utils.Database, progress: Progress = no_progress, futures: int | None = None) -> str:
    """Plan from the stored records and keep the answer; returns its key. The same key is never computed twice."""
    from . import gathering, tell
    from .assess import assess

    key = key_now(db, futures)
    if answers.get(db, STAGE, key) is None:
        progress(0.0, "outlook.step.draws")
        ask, known_sales = gather(db, futures)
        found = assess(ask, progress)
        year = int(found.futures.years[found.futures.first])
        meta, arrays = tell.told(ask, found, gathering.factory_need_t(settings.load(db), year), year, known_sales)
        meta |= {"data_version": survey.data_version(db), "settings_version": settings.load(db).version, "sales_version": store.version(db)}
        answers.put(db, STAGE, key, meta, arrays)
    progress(1.0, "outlook.step.done")
    return key


def made(db: sqlite_utils.Database, progress: Progress = no_progress, futures: int | None = None) -> answers.Answer:
    """:func:`make`, and the answer itself."""
    return answers.get(db, STAGE, make(db, progress, futures))


def _refresh(db: sqlite_utils.Database) -> None:
    """Bring the estimates up to the records that the answer's key will name."""
    if ripeness.stale(ripeness.answer(db), db):
        ripeness.fit(db)
    if tonnage.stale(tonnage.answer(db), db):
        tonnage.answer(db, fresh=True)
    if crop.stale(crop.answer(db), db):
        crop.answer(db, fresh=True)


def gather(db: sqlite_utils.Database, futures: int | None = None) -> tuple["Ask", bool]:
    """Everything the outlook rests on, read through the services; and whether sales are known."""
    import numpy as np

    from . import demand, gathering
    from .assess import Ask, Draws

    values = settings.load(db)
    today = clock.of(db).today()
    count = int(futures or values["futures"])
    plots, zones = land.plots(db), land.zones(db)
    plots = plots[plots["status"] == "standing"].sort_index()
    days, share, mass_t, art = [today], *(np.zeros((count, 0, 1)) for _ in range(3))
    if len(plots):
        _refresh(db)
        drawn = crop.long(db, count, SEED)
        codes = [code for code in drawn.plots if code in plots.index]
        rows = [list(drawn.plots).index(code) for code in codes]
        plots = plots.loc[codes]
        days = [day if type(day) is date else date.fromisoformat(str(day)[:10]) for day in drawn.quarters]
        share, mass_t, art = (np.asarray(getattr(drawn, name))[:, rows] for name in ("share", "mass_t", "art"))
    here = gathering.land_of(plots, zones, today)
    table = sales(db)
    known = not table.empty
    past = demand.history(table) if known else gathering.factory_history(values, today)
    return Ask(
        today=today, season_passed=today > gathering.season_end(values, today.year), values=values, land=here, draws=Draws(days, share, mass_t, art), past=past, stock=gathering.stock_of(stock(db)),
        own_classes=sales_file.own_classes(values["own_classes"]), own_paths=gathering.own_paths(store.paths(db), past),
        last_planted_ha=gathering.planted_last_season(here, values, today), haul_km=gathering.mean_haul_km(zones), seed=SEED, need_in_own_tonnes=not known), known
