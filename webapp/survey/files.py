"""Records from files: CSV as people's programs write it, and JSONL as phones send it.

What had to be understood (Latin-1, semicolons, decimal commas) is said, never silently assumed.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

from .. import dictionary
from ..problems import Problem
from . import batch
from . import record as rec

MOST_BYTES, MOST_ROWS = 32 * 2**20, 200_000


@dataclass(frozen=True)
class Rows:
    """Raw records of a file in order with their bytes (of a CSV row, its one byte form), and notes: codes of what was understood."""

    records: list[Any]
    texts: list[bytes]
    notes: tuple[tuple[str, dict], ...] = field(default=())


def read(data: bytes, filename: str) -> Rows:
    """Problems: file_empty, file_too_big, file_unreadable, csv_no_kind, csv_unknown_columns."""
    if not data.strip():
        raise Problem("file_empty", where=filename)
    if len(data) > MOST_BYTES:
        raise Problem("file_too_big", where=filename, status=413, limit_mb=MOST_BYTES // 2**20)
    text, notes = decoded(data, filename)
    if filename.lower().endswith((".jsonl", ".ndjson", ".json")):
        return Rows(*_jsonl(text, filename), tuple(notes))
    records, more = _csv(text, filename)
    return Rows(records, [rec.canonical(record) for record in records], (*notes, *more))


def decoded(data: bytes, filename: str) -> tuple[str, list[tuple[str, dict]]]:
    if b"\0" in data[:4096]:
        raise Problem("file_not_as_named", where=filename, kind="text")
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), [("read_latin1", {})]


def _jsonl(text: str, filename: str) -> tuple[list[Any], list[bytes]]:
    """A record a line; a line that is a whole batch gives its records. A line that is no JSON refuses the file."""
    records, texts = [], []
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            found = batch.one(line)
            if isinstance(found, dict) and isinstance(found.get("records"), list):
                _, many, their = batch.parsed(line.encode("utf-8"))
                records += many
                texts += their
            else:
                records.append(found)
                texts.append(line.strip().encode("utf-8"))
        except (ValueError, RecursionError) as error:
            raise Problem("file_unreadable", where=f"{filename}:{number}", reason=type(error).__name__) from error
        if len(records) > MOST_ROWS:
            raise Problem("file_too_big", where=filename, status=413, limit_mb=MOST_BYTES // 2**20)
    return records, texts


def separator(first_line: str) -> str:
    return max(",;\t", key=first_line.count)


def _csv(text: str, filename: str) -> tuple[list[dict], list[tuple[str, dict]]]:
    lines = text.splitlines()
    mark = separator(lines[0])
    notes = [("read_semicolons", {})] if mark == ";" else []
    reader = csv.DictReader(io.StringIO(text), delimiter=mark)
    headings = [h.strip() for h in reader.fieldnames or []]
    reader.fieldnames = headings
    stem = filename.rsplit("/", 1)[-1].rsplit(".", 1)[0]
    fixed_kind = stem if stem in dictionary.kinds() else None
    if "kind" not in headings and fixed_kind is None:
        raise Problem("csv_no_kind", where=filename, kinds=", ".join(dictionary.kinds()))
    known = {f.name for k in dictionary.kinds().values() for f in k.fields} | set(dictionary.ENVELOPE)
    strange = [h for h in headings if h and h not in known]
    if strange:
        raise Problem("csv_unknown_columns", where=filename, columns=", ".join(strange[:8]))
    records, times, commas = [], {}, [0]
    for row in reader:
        if len(records) >= MOST_ROWS:
            raise Problem("file_too_big", where=filename, status=413, limit_mb=MOST_BYTES // 2**20)
        if any((v or "").strip() for v in row.values() if isinstance(v, str)):
            records.append(_row(row, fixed_kind, filename, times, commas))
    if commas[0]:
        notes.append(("read_decimal_commas", {"n": commas[0]}))
    return records, notes


def _row(row: dict[str, str | None], fixed_kind: str | None, filename: str, times: dict, commas: list[int]) -> dict:
    cell = {name: value.strip() for name, value in row.items() if isinstance(name, str) and isinstance(value, str) and value.strip() != ""}
    kind = cell.pop("kind", fixed_kind) or fixed_kind or ""
    number = lambda text: _number(text, commas)  # noqa: E731
    types = {f.name: f.type for f in dictionary.fields(kind)} if kind in dictionary.kinds() else {}
    own: dict[str, Any] = {}
    for name, text in cell.items():
        if name not in dictionary.ENVELOPE:
            own[name] = _YES_NO.get(text.lower(), number(text)) if types.get(name) == "yes_no" else number(text) if types.get(name) in ("number", "whole") else _outline(text) if types.get(name) == "outline" else text
    position = {n: number(cell[n]) for n in ("lat", "lon", "accuracy_m") if n in cell} or None
    taken = cell.get("taken_at")
    record = {"install": cell.get("install") or f"file:{filename.rsplit('/', 1)[-1]}", "seq": number(cell["seq"]) if "seq" in cell else None, "round": cell.get("round"), "kind": kind,
              "plot": cell.get("plot"), "taken_at": taken, "position": position, "confirmed": _YES_NO.get(cell.get("confirmed", "").lower(), cell.get("confirmed") == "1"),
              "replaces": cell.get("replaces"), **own}
    if "id" in cell:
        return {"id": cell["id"].lower(), **record}
    key = rec.canonical(record)
    times[key] = times.get(key, 0) + 1  # the same row twice in one file is two records; the same file twice is none more
    return {"id": rec.derived_id("csv", record, times[key]), **record}


_YES_NO = {"true": True, "yes": True, "sí": True, "si": True, "false": False, "no": False}


def _number(text: str, commas: list[int]) -> Any:
    """A number with point or comma; text that is none (nan and endless ones too) stays text, to be held with its words."""
    try:
        value = float(text)
        if not isfinite(value):
            return text
    except ValueError:
        if text.count(",") == 1 and text.replace(",", "").lstrip("-+").isdigit():
            commas[0] += 1
            value = float(text.replace(",", "."))
        else:
            return text
    return int(value) if abs(value) < 1e15 and value == int(value) and "." not in text and "," not in text and "e" not in text.lower() else value


def _outline(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text
