"""Make the demo estate: ``python demo_fields/make.py [--balanced] [--out DIR] [--check]``.

Same code, same files, byte for byte. ``--check`` makes them in a temporary folder and compares them with
those beside this file; ``--balanced`` plants the same hectares every year (for tests, not kept here).
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

from demo_fields import bottles, history, land_file, planting, truth  # noqa: E402
from demo_fields.faults import Faults  # noqa: E402
from demo_fields.fieldwork import fieldwork  # noqa: E402

GONE_HA = 245.0   # cut before the first record


def table(rows: list[dict], columns) -> bytes:
    """CSV bytes: UTF-8, commas, one line feed; None is an empty cell."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\n", extrasaction="raise")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def collection(features: list[dict]) -> bytes:
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, separators=(",", ":")) for f in features)
    return ('{"type":"FeatureCollection","name":"tablas","features":[\n' + lines + "\n]}\n").encode()


def files(balanced: bool = False) -> dict[str, bytes]:
    """Every file of the demo by its path below the folder."""
    plots, parcels, free = planting.make(planting.BALANCED if balanced else planting.UNEVEN)
    history.lose(plots)
    campaigns, loads = history.cut(plots, GONE_HA)
    planting.end_leases(plots, parcels)
    faults = Faults()
    records = fieldwork(plots, campaigns, loads, faults)
    features = [land_file.feature(p, parcels[p.parcel]) for p in plots] + land_file.faulty(free, plots, parcels, faults.note)
    made = {"plots.geojson": collection(features)}
    made |= {f"records/{kind}.csv": table(rows, columns) for kind, (columns, rows) in sorted(records.items())}
    made["sales.csv"] = table(bottles.sales(), ("market", "category", "class", "month", "litres"))
    made["stock.csv"] = table(bottles.stock(), ("category", "class", "age_years", "litres"))
    made["purchases.csv"] = table(bottles.bought(), ("year", "mass_t", "paid_mxn"))
    made["crews.csv"] = table([{"name": n, "people": p, "home_zone": z, "active": 1} for n, p, z in history.CREWS], ("name", "people", "home_zone", "active"))
    made["closures.csv"] = table(CLOSURES, ("scope", "subject", "from_week", "to_week", "reason"))
    made["truth.csv"] = table([truth.row(p) for p in plots], truth.COLUMNS)
    made["truth_totals.csv"] = table(truth.totals(plots), ("quantity", "year", "value", "unit"))
    made["faults.csv"] = table(faults.rows, ("fault", "subject", "finding", "in_words"))
    return made


CLOSURES = [
    {"scope": "zone", "subject": "Vado Seco", "from_week": "2026-W26", "to_week": "2026-W39", "reason": "crecida del vado"},
    {"scope": "zone", "subject": "Loma Alta", "from_week": "2026-W26", "to_week": "2026-W39", "reason": "brecha de tierra, aguas"},
    {"scope": "zone", "subject": "Loma Alta", "from_week": "2027-W03", "to_week": "2027-W04", "reason": "reparación de la alcantarilla"},
    {"scope": "zone", "subject": "Vado Seco", "from_week": "2027-W26", "to_week": "2027-W39", "reason": "crecida del vado"},
    {"scope": "zone", "subject": "Loma Alta", "from_week": "2027-W26", "to_week": "2027-W39", "reason": "brecha de tierra, aguas"},
]


def write(folder: Path, made: dict[str, bytes]) -> None:
    for name, data in made.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def check(folder: Path, made: dict[str, bytes]) -> list[str]:
    """Names of files that differ from those in the folder, are missing there, or are too many."""
    there = {p.relative_to(folder).as_posix() for p in folder.glob("*") if p.suffix in (".csv", ".geojson")} | {
        p.relative_to(folder).as_posix() for p in (folder / "records").glob("*")}
    return sorted([n for n, data in made.items() if n not in there or (folder / n).read_bytes() != data] + list(there - made.keys()))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--balanced", action="store_true", help="the same hectares planted every year")
    parser.add_argument("--out", type=Path, default=HERE, help="where to write")
    parser.add_argument("--check", action="store_true", help="compare with the files beside this program; write nothing there")
    given = parser.parse_args()
    made = files(given.balanced)
    if given.check:
        with tempfile.TemporaryDirectory() as name:
            write(Path(name), made)
            wrong = check(HERE, {n: (Path(name) / n).read_bytes() for n in made})
        print("differs: " + ", ".join(wrong) if wrong else f"{len(made)} files as made, {sum(map(len, made.values())) / 1e6:.2f} MB")
        return 1 if wrong else 0
    write(given.out, made)
    print(f"{len(made)} files, {sum(map(len, made.values())) / 1e6:.2f} MB in {given.out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
