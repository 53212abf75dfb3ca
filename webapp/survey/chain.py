"""Which records count: corrections and voids, whatever order they came in."""

from __future__ import annotations

from typing import Iterable


def _involved(rows: list[dict]) -> tuple[list[dict], set[str]]:
    """Rows that name another or are named, and the identifiers of all; the rest need no thought."""
    ids = {row["id"] for row in rows}
    named = {row["replaces"] for row in rows if row["replaces"]}
    return [row for row in rows if row["replaces"] or row["id"] in named], ids


def in_force(rows: Iterable[dict]) -> set[str]:
    """Identifiers of the records that count, from kept rows with id, kind, replaces and taken_fixed.

    A void takes what it names out of force, unless that void is itself voided. A correction in force or
    corrected in turn hides what it replaces; of two for one record the later by corrected time (then id)
    counts. Voiding a correction brings back what it hid.
    """
    rows = list(rows)
    part, _ = _involved(rows)
    standing, corrections = _standing(part)
    hidden = set(corrections)
    for replies in corrections.values():
        last = max(replies, key=_when)
        hidden |= {r["id"] for r in replies if r is not last}
    out = {row["id"] for row in part} - ({row["id"] for row in standing} - hidden)
    return {row["id"] for row in rows if row["kind"] != "void"} - out


def rivals(rows: Iterable[dict]) -> list[tuple[str, list[str]]]:
    """(record, its standing corrections, the one that counts last) wherever there are two or more."""
    part, _ = _involved(list(rows))
    _, corrections = _standing(part)
    return sorted((name, [r["id"] for r in sorted(replies, key=_when)]) for name, replies in corrections.items() if len(replies) > 1)


def inherited_rounds(rows: Iterable[dict]) -> dict[str, str]:
    """Correction → the round it belongs to, for those sent without one: that of the record they replace, down the chain.

    ``rows`` have id, kind, replaces and round. Only a record of the same kind passes its round on; a circle passes nothing.
    """
    by_id = {row["id"]: row for row in rows}
    found: dict[str, str] = {}
    for row in by_id.values():
        if row["round"] or not row["replaces"]:
            continue
        here, seen = row, set()
        while not here["round"] and here["kind"] != "void" and here["id"] not in seen:
            seen.add(here["id"])
            before = by_id.get(here["replaces"])
            if before is None or before["kind"] != here["kind"]:
                break
            here = before
        if here["round"]:
            found[row["id"]] = here["round"]
    return found


def _when(row: dict) -> tuple[str, str]:
    return row["taken_fixed"] or "", row["id"]


def _standing(rows: list[dict]) -> tuple[list[dict], dict[str, list[dict]]]:
    """Rows no standing void names (voids left out), and the corrections among them by what they replace."""
    by_id = {row["id"] for row in rows}
    voids: dict[str, list[str]] = {}
    for row in rows:
        if row["kind"] == "void" and row["replaces"] in by_id and row["replaces"] != row["id"]:
            voids.setdefault(row["replaces"], []).append(row["id"])
    known: dict[str, bool] = {}
    standing = [row for row in rows if row["kind"] != "void" and _stands(row["id"], voids, known)]
    corrections: dict[str, list[dict]] = {}
    for row in standing:
        if row["replaces"] in by_id and row["replaces"] != row["id"]:
            corrections.setdefault(row["replaces"], []).append(row)
    return standing, corrections


def _stands(start: str, voids: dict[str, list[str]], known: dict[str, bool]) -> bool:
    """Whether no standing void names a record. Iterative: a chain of voids may be long.

    A void names one record, so the voids above a record form a tree, unless some go round in a circle;
    none of those is ever above a record that is no void, so a circle is never walked into from outside.
    """
    stack = [start]
    while stack:
        here = stack[-1]
        waiting = [void for void in voids.get(here, ()) if void not in known]
        if waiting:
            stack.extend(waiting)
            continue
        known[here] = not any(known[void] for void in voids.get(here, ()))
        stack.pop()
    return known[start]
