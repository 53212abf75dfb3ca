"""The map's data as few bytes: outlines as differences on a grid of about a metre, conditions as runs of weeks, figures as differences from week to week.

A file is a number of four bytes (little end first), that many bytes of JSON, then the sections the JSON names, one
after the other. ``static/desk/map_data.js`` reads it.
"""

from __future__ import annotations

import json
from typing import Any, Iterable, Sequence

import numpy as np

GRID_PER_DEGREE = 100_000
"""Coordinates are whole numbers of 1e-5 degrees, about a metre: what a phone's GPS can tell anyway."""


def varints(values: np.ndarray) -> bytes:
    """Whole numbers ≥ 0 below 2³⁵, seven bits a byte, lowest first; a byte above 127 says that more follow."""
    left = np.asarray(values, np.uint64).ravel()
    parts = np.zeros((len(left), 5), np.uint8)
    length = np.ones(len(left), int)
    for k in range(5):
        parts[:, k] = (left & np.uint64(127)).astype(np.uint8)
        left = left >> np.uint64(7)
        more = left > 0
        parts[more, k] |= 128
        length += more
    return parts[np.arange(5) < length[:, None]].tobytes()


def signed(values: np.ndarray) -> np.ndarray:
    """0, −1, 1, −2 … as 0, 1, 2, 3 …, so that small differences stay small numbers."""
    v = np.asarray(values, np.int64)
    return (v << 1) ^ (v >> 63)


def series(table: np.ndarray) -> bytes:
    """Whole numbers [plot, week] as differences along the weeks, the first from zero."""
    return varints(signed(np.diff(np.asarray(table, np.int64), axis=1, prepend=0)))


def runs(table: np.ndarray) -> bytes:
    """Small whole numbers 0…255 [plot, week] as (value, weeks it lasts) pairs, plot after plot; at most 255 weeks."""
    table = np.asarray(table, np.uint8)
    if not table.size:
        return b""
    starts = np.ones(table.shape, bool)
    starts[:, 1:] = table[:, 1:] != table[:, :-1]
    where = np.flatnonzero(starts)
    lasts = np.diff(np.append(where, table.size))
    return np.stack([table.ravel()[where], lasts.astype(np.uint8)], axis=1).tobytes()


def outlines(geometries: Iterable[dict]) -> tuple[bytes, bytes]:
    """(counts, steps): per outline its number of rings and each ring's corners (the closing one left out); the corners as steps from the one before."""
    counts: list[int] = []
    corners: list[np.ndarray] = []
    for geometry in geometries:
        rings = [np.rint(np.asarray(ring, float)[:-1, :2] * GRID_PER_DEGREE).astype(np.int64) for ring in _rings(geometry)]
        counts += [len(rings), *(len(ring) for ring in rings)]
        corners += rings
    points = np.concatenate(corners) if corners else np.zeros((0, 2), np.int64)
    return varints(np.array(counts, np.int64)), varints(signed(np.diff(points, axis=0, prepend=np.zeros((1, 2), np.int64))))


def _rings(geometry: dict) -> Sequence:
    polygons = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
    return [ring for polygon in polygons for ring in polygon]


def together(head: dict[str, Any], sections: dict[str, bytes]) -> bytes:
    """One file of a JSON head, which is given the sections' names and lengths, and the sections."""
    told = json.dumps({**head, "sections": [[name, len(body)] for name, body in sections.items()]}, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    return b"".join([len(told).to_bytes(4, "little"), told, *sections.values()])
