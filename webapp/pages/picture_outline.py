"""A walked outline over the present one and its neighbours, north up, with a scale: told by line, not by colour."""

from __future__ import annotations

from math import cos, floor, log10, radians
from typing import Iterator

from .charts import line, path, picture, text

M_PER_DEG = 111_195.0
WIDTH, EDGE, FOOT = 640, 20, 40
TALLEST, LOWEST = 460, 240


def rings(geometry: dict) -> Iterator[list[list[float]]]:
    """Outer rings of a (Multi)Polygon."""
    parts = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
    return (part[0] for part in parts if part and part[0])


def round_length(metres: float) -> float:
    """The longest of 1, 2 or 5 times a power of ten that is at most ``metres``."""
    power = 10 ** floor(log10(metres))
    return next(times * power for times in (5, 2, 1) if times * power <= metres)


def outline_picture(name: str, new: dict, old: dict | None, neighbours: dict[str, dict], names_at: dict[str, tuple[float, float]], crossings: list[tuple[float, float]], title: str, desc: str, north: str) -> str:
    """SVG; the view holds the new and the old outline, neighbours are cut at its edge. Crossings are numbered."""
    seen = [point for geometry in (new, old) if geometry for ring in rings(geometry) for point in ring]
    lon, lat = seen[0][:2]
    across = M_PER_DEG * cos(radians(lat))
    flat = lambda point: ((point[0] - lon) * across, (point[1] - lat) * M_PER_DEG)  # noqa: E731
    xs, ys = zip(*(flat(point) for point in seen))
    wide, high = max(max(xs) - min(xs), 20.0), max(max(ys) - min(ys), 20.0)
    height = min(max(high / wide * (WIDTH - 2 * EDGE), LOWEST), TALLEST) + EDGE + FOOT
    metres = max(wide / (WIDTH - 2 * EDGE), high / (height - EDGE - FOOT))
    middle_x, middle_y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2

    def at(point) -> tuple[float, float]:
        x, y = flat(point)
        return WIDTH / 2 + (x - middle_x) / metres, (height + EDGE - FOOT) / 2 - (y - middle_y) / metres

    def drawn(geometry: dict, classes: str) -> str:
        return "".join(path([at(point) for point in ring[:-1]], classes, close=True) for ring in rings(geometry))

    body = [drawn(geometry, "beside") for geometry in neighbours.values()]
    body += [drawn(new, "walked"), drawn(old, "before") if old else ""]
    body += [text(*at(place), code, "soft halo", "middle") for code, place in names_at.items()]
    for n, place in enumerate(crossings, 1):
        x, y = at(place)
        body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" class="crossing"/>' + text(x, y + 4, str(n), "strong", "middle"))
    length = round_length(metres * 130)
    end, foot = EDGE + length / metres, height - 12
    body += [line(EDGE, foot, end, foot, "ink"), line(EDGE, foot - 5, EDGE, foot, "ink"), line(end, foot - 5, end, foot, "ink"), text(end + 8, foot + 1, f"{length:,.0f} m", "halo"),
             path([(WIDTH - 24, height - 38), (WIDTH - 18, height - 22), (WIDTH - 24, height - 26), (WIDTH - 30, height - 22)], "arrow", close=True), text(WIDTH - 24, height - 6, north, "halo", "middle")]
    return picture(name, WIDTH, height, title, desc, "".join(body), "outline")
