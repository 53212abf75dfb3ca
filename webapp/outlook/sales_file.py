"""Reading sales, stock and purchases from CSV as offices really write it.

UTF-8 or Latin-1, commas, semicolons or tabs, decimal points or commas, Spanish or English headings; what
was guessed is told. A file is taken whole or not at all, and every bad row is named.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

from ..problems import Problem
from ..sentences import Sentence
from .classes import CATEGORY_WORDS, CATEGORIES, CLASSES, WORDS

LARGEST_BYTES = 20_000_000
MOST_PARTS = 20
HEADINGS = {
    "market": {"market", "mercado"}, "category": {"category", "categoria", "categoría"}, "class": {"class", "clase"},
    "month": {"month", "mes", "fecha", "date"}, "litres": {"litres", "liters", "litros", "litres_l", "litros_l", "litros_40", "litres_40"},
    "age_years": {"age_years", "edad", "edad_anos", "edad_años", "años", "anos", "years"}, "year": {"year", "año", "ano"},
    "mass_t": {"mass_t", "toneladas", "tonnes", "t"}, "paid_mxn": {"paid_mxn", "pagado", "pagado_mxn", "paid"},
}
SHAPES = {
    "sales": (("market", "category", "class", "month", "litres"), ()),
    "stock": (("category", "class", "age_years", "litres"), ()),
    "bought": (("year", "mass_t"), ("paid_mxn",)),
}
KEYS = {"sales": ("market", "category", "class", "month"), "stock": ("category", "class", "age_years"), "bought": ("year",)}
MONTHS = {name: i for i, names in enumerate((
    ("ene", "jan", "enero", "january"), ("feb", "febrero", "february"), ("mar", "marzo", "march"), ("abr", "apr", "abril", "april"),
    ("may", "mayo"), ("jun", "junio", "june"), ("jul", "julio", "july"), ("ago", "aug", "agosto", "august"), ("sep", "sept", "septiembre", "september"),
    ("oct", "octubre", "october"), ("nov", "noviembre", "november"), ("dic", "dec", "diciembre", "december")), 1) for name in names}


@dataclass(frozen=True)
class Table:
    """What a file holds: ``kind`` sales, stock or bought; rows as dictionaries in file order; notes on what was guessed."""

    kind: str
    rows: list[dict]
    notes: tuple[Sentence, ...]


def read(data: bytes, filename: str, own_classes: dict[str, float] | None = None, kind: str | None = None) -> Table:
    """Read a file; ``kind`` None takes it from the headings.

    Raises Problem ``sales_file_empty``, ``sales_file_too_big``, ``sales_file_not_text``, ``sales_file_headings``
    or ``sales_file_rows`` with one part per bad row.
    """
    text, notes = _text(data, filename)
    delimiter = _delimiter(text)
    if delimiter != ",":
        notes.append(Sentence("outlook.file.delimiter", {"delimiter": "tab" if delimiter == "\t" else delimiter}))
    try:
        lines = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)]
    except csv.Error as error:
        raise Problem("sales_file_not_text", where=filename, reason=str(error)) from None
    filled = [(i, row) for i, row in enumerate(lines, 1) if any(cell.strip() for cell in row)]
    if len(filled) < 2:
        raise Problem("sales_file_empty", where=filename)
    names = [_heading(cell) for cell in filled[0][1]]
    found = kind or next((k for k, (needed, _) in SHAPES.items() if all(n in names for n in needed)), None)
    needed, extra = SHAPES.get(found or "sales")
    if found is None or any(n not in names for n in needed) or len({n for n in names if n}) < len([n for n in names if n]):
        raise Problem("sales_file_headings", where=filename, found=", ".join(c.strip() for c in filled[0][1]), needed=", ".join(needed))
    columns = {n: names.index(n) for n in (*needed, *extra) if n in names}
    comma = _decimal_comma(filled[1:], [columns[n] for n in ("litres", "mass_t", "paid_mxn") if n in columns], delimiter)
    if comma:
        notes.append(Sentence("outlook.file.decimal_comma", {}))
    rows, parts, seen = [], [], {}
    for number, cells in filled[1:]:
        where = f"{filename}:{number}"
        try:
            row = _row(cells, columns, comma, own_classes or {}, where)
            key = tuple(row[k] for k in KEYS[found])
            if key in seen:
                raise Problem("sales_row_twice", where=where, first=seen[key])
            seen[key] = number
            rows.append(row)
        except Problem as problem:
            parts.append(problem)
    if parts:
        raise Problem("sales_file_rows", where=filename, n=len(parts), rows=len(filled) - 1, parts=parts[:MOST_PARTS])
    return Table(found, rows, tuple(notes))


def _text(data: bytes, filename: str) -> tuple[str, list[Sentence]]:
    if not data.strip():
        raise Problem("sales_file_empty", where=filename)
    if len(data) > LARGEST_BYTES:
        raise Problem("sales_file_too_big", where=filename, status=413, size_mb=round(len(data) / 1e6, 1), limit_mb=LARGEST_BYTES // 1_000_000)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), [Sentence("outlook.file.encoding", {"encoding": "UTF-16"})]
        except UnicodeDecodeError:
            raise Problem("sales_file_not_text", where=filename, reason="UTF-16") from None
    if b"\x00" in data or data[:4] in (b"PK\x03\x04", b"%PDF", b"\xd0\xcf\x11\xe0"):
        raise Problem("sales_file_not_text", where=filename, reason=data[:4].decode("latin-1", "replace").encode("ascii", "replace").decode())
    for encoding in ("utf-8-sig", "cp1252", "latin-1"):
        try:
            return data.decode(encoding), [] if encoding == "utf-8-sig" else [Sentence("outlook.file.encoding", {"encoding": "Latin-1"})]
        except UnicodeDecodeError:
            continue
    raise Problem("sales_file_not_text", where=filename, reason="?")


def _delimiter(text: str) -> str:
    head = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=lambda mark: (head.count(mark), mark == ","))


def _heading(cell: str) -> str:
    plain = re.sub(r"\s+", "_", cell.strip().lower())
    return next((name for name, words in HEADINGS.items() if plain in words), "")


def _decimal_comma(filled: list, columns: list[int], delimiter: str) -> bool:
    """Whether this file's numbers use a decimal comma: shown by any number that can't be read otherwise."""
    cells = [row[c].strip() for _, row in filled for c in columns if c < len(row)]
    if any(re.search(r"\.\d*,\d+$", cell) for cell in cells):
        return True
    if any(re.search(r",\d*\.\d+$", cell) or re.fullmatch(r"-?\d+\.(\d{1,2}|\d{4,})", cell) for cell in cells):
        return False
    return any(re.fullmatch(r"-?\d+,(\d{1,2}|\d{4,})", cell) or re.fullmatch(r"-?\d{4,},\d+", cell) for cell in cells)


def _number(text: str, comma: bool, name: str, where: str) -> float:
    plain = text.strip().replace("\u00a0", "").replace(" ", "").replace("'", "")
    plain = plain.replace(".", "").replace(",", ".") if comma else plain.replace(",", "")
    if not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?", plain):
        raise Problem("sales_row_number", where=where, name=name, value=text.strip()[:40])
    value = float(plain)
    if not 0 <= value < 1e12:
        raise Problem("sales_row_negative", where=where, name=name, value=text.strip()[:40])
    return value


def _row(cells: list[str], columns: dict[str, int], comma: bool, own: dict[str, float], where: str) -> dict:
    if max(columns.values()) >= len(cells):
        raise Problem("sales_row_cells", where=where, n=len(cells))
    raw = {name: cells[i].strip() for name, i in columns.items()}
    row: dict = {}
    for name, value in raw.items():
        if name in ("litres", "mass_t"):
            row[name] = _number(value, comma, name, where)
        elif name == "paid_mxn":
            row[name] = _number(value, comma, name, where) if value else None
        elif name in ("year", "age_years"):
            row[name] = _whole(value, name, where)
        elif name == "month":
            row[name] = month_of(value, where)
        elif name == "category":
            row[name] = _category(value, where)
        elif name == "class":
            row[name] = _class(value, own, where)
        else:
            if not value:
                raise Problem("sales_row_blank", where=where, name=name)
            row[name] = value[:80]
    return row


def _whole(value: str, name: str, where: str) -> int:
    low, high = (1900, 2200) if name == "year" else (0, 60)
    if not re.fullmatch(r"\d{1,4}", value) or not low <= int(value) <= high:
        raise Problem("sales_row_number", where=where, name=name, value=value[:40])
    return int(value)


def month_of(value: str, where: str = "") -> str:
    """``YYYY-MM`` of 2026-10, 2026/10/31, 10/2026, 31/10/2026 or oct-2026 (day before month, as in Mexico)."""
    parts = [p for p in re.split(r"[-/. ]+", value.strip().lower()) if p]
    numbers = [MONTHS.get(p, p) for p in parts]
    try:
        numbers = [int(n) for n in numbers]
        if len(numbers) == 2:
            year, month = (numbers[0], numbers[1]) if numbers[0] > 31 else (numbers[1], numbers[0])
        elif len(numbers) == 3:
            year, month = (numbers[0], numbers[1]) if numbers[0] > 31 else (numbers[2], numbers[1])
        else:
            raise ValueError
        if not (1900 <= year <= 2200 and 1 <= month <= 12):
            raise ValueError
    except ValueError:
        raise Problem("sales_row_month", where=where, value=value[:40]) from None
    return f"{year:04d}-{month:02d}"


def _category(value: str, where: str) -> str:
    plain = re.sub(r"\s+", " ", value.strip().lower())
    found = plain if plain in CATEGORIES else CATEGORY_WORDS.get(plain)
    if found is None:
        raise Problem("sales_row_category", where=where, value=value[:40])
    return found


def _class(value: str, own: dict[str, float], where: str) -> str:
    plain = re.sub(r"\s+", " ", value.strip().lower())
    if plain in own or plain in CLASSES:
        return plain
    if plain not in WORDS:
        raise Problem("sales_row_class", where=where, value=value[:40])
    return WORDS[plain]


def own_classes(text: str) -> dict[str, float]:
    """The user's classes from the setting: ``cristalino=1; solera=3.5`` → years in wood by name."""
    found: dict[str, float] = {}
    for part in (p.strip() for p in text.split(";") if p.strip()):
        name, sep, years = part.partition("=")
        try:
            value = float(years.strip().replace(",", "."))
        except ValueError:
            value = -1.0
        if not sep or not name.strip() or not 0 <= value <= 15:
            raise Problem("own_class_unclear", where="own_classes", value=part)
        found[re.sub(r"\s+", " ", name.strip().lower())] = value
    return found


def checked_rows(kind: str, rows: list[dict], own: dict[str, float]) -> list[dict]:
    """Rows given by hand under the same rules as a file's (all or none)."""
    needed, extra = SHAPES[kind]
    names = (*needed, *extra)
    body = io.StringIO()
    writer = csv.writer(body)
    writer.writerow(names)
    writer.writerows([["" if row.get(n) is None else row.get(n) for n in names] for row in rows])
    return read(body.getvalue().encode(), "–", own, kind).rows if rows else []
