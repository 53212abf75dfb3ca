"""Draws the phone's icons: an agave of five leaves, white on the leaf's blue-green.

Run ``python -m webapp.pages.phone_icons`` after changing the drawing; the PNG files are kept in
``static/field/icons`` so that a phone gets the same bytes from every server.
"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np

from .. import STATIC

LEAF, LIGHT = (15, 95, 92), (252, 253, 252)
SHADES = 6
LEAVES = ([(32, 54), (32, 20)], [(32, 50), (22, 44), (16, 34), (15, 22)], [(32, 50), (42, 44), (48, 34), (49, 22)],
          [(30, 54), (18, 52), (10, 46), (7, 38)], [(34, 54), (46, 52), (54, 46), (57, 38)])
"""Strokes on a 64 × 64 field: a straight line or a cubic curve each, the drawing of ``desk/icon.svg``."""


def _points(stroke: list[tuple[float, float]], n: int = 24) -> np.ndarray:
    t = np.linspace(0, 1, n)[:, None]
    p = np.array(stroke, float)
    if len(p) == 2:
        return p[0] + (p[1] - p[0]) * t
    return (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]


def shades(size_px: int, zoom: float, round_px: float) -> np.ndarray:
    """Array [size, size] of shade numbers: 0 clear, 1…SHADES from leaf to light."""
    centre = (np.arange(size_px) + 0.5) / size_px * 64
    x, y = np.meshgrid((centre - 32) / zoom + 32, (centre - 32) / zoom + 32)
    distance = np.full((size_px, size_px), 99.0)
    for stroke in LEAVES:
        points = _points(stroke)
        for (ax, ay), (bx, by) in zip(points[:-1], points[1:]):
            t = np.clip(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2), 0, 1)
            distance = np.minimum(distance, np.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)))
    pixel = 64 / size_px / zoom
    cover = np.clip((2 - distance) / pixel + 0.5, 0, 1)
    shade = 1 + np.rint(cover * (SHADES - 1)).astype(np.uint8)
    if round_px:
        edge = np.maximum(np.abs(np.stack(np.meshgrid(centre, centre)) - 32) - (32 - round_px), 0)
        shade[np.hypot(*edge) > round_px] = 0
    return shade


def png(shade: np.ndarray) -> bytes:
    """An indexed PNG (8 bits) of shade numbers, the first colour transparent."""
    mix = np.linspace(0, 1, SHADES)[:, None]
    palette = np.vstack([[LEAF], np.rint(np.array(LEAF) * (1 - mix) + np.array(LIGHT) * mix)]).astype(np.uint8)
    size = shade.shape[0]
    rows = b"".join(b"\0" + row.tobytes() for row in shade)

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", size, size, 8, 3, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"PLTE", palette.tobytes()) + chunk(b"tRNS", b"\0")
            + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b""))


def draw() -> dict[str, bytes]:
    """File name → PNG bytes. The large one keeps its drawing inside the safe circle, so any launcher may mask it."""
    return {"icon-192.png": png(shades(192, 0.92, 12)), "icon-512.png": png(shades(512, 0.66, 0))}


if __name__ == "__main__":
    folder: Path = STATIC / "field" / "icons"
    folder.mkdir(parents=True, exist_ok=True)
    for name, body in draw().items():
        (folder / name).write_bytes(body)
