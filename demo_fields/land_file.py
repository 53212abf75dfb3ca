"""plots.geojson: the 190 plots as the office keeps them, with the land faults of real life added as further features."""

from __future__ import annotations

from demo_fields import layout
from demo_fields.planting import Parcel, Plot


def feature(plot: Plot, parcel: Parcel) -> dict:
    zone = plot.place
    properties = {
        "code": plot.code, "name": plot.name, "parcel": parcel.code, "parcel_name": parcel.name, "registry_number": parcel.registry, "tenure": parcel.tenure,
        "lease_end": parcel.lease_end.isoformat() if parcel.lease_end else None, "registered_plants": parcel.registered, "zone": zone.name,
        "altitude_m": zone.altitude_m, "haul_km": zone.haul_km, "truck_max_t": zone.truck_max_t, "wet_road": zone.wet_road, "variety": "azul",
        "row_spacing_m": plot.row_m, "plant_spacing_m": plot.plant_m, "planted_on": plot.said_planted_on.isoformat() if plot.said_planted_on else None,
        "offset_size_cm": plot.offset_cm, "status": plot.status, "gate": plot.gate, "planted_plants": plot.planted if plot.says_planted else None}
    return {"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [layout.ring(plot.corners)]}}


def faulty(free: dict[str, list], plots: list[Plot], parcels: dict[str, Parcel], note) -> list[dict]:
    """A bow tie, two outlines over each other, and one code given twice, all on ground where no sound plot lies.

    ``note(kind, subject, found, words)`` keeps the list of faults.
    """
    def like(zone: str, code: str, name: str, corners) -> dict:
        model = next(p for p in plots if p.zone == zone and p.planted_on.year >= 2025)
        made = feature(model, parcels[model.parcel])
        made["properties"].update(code=code, name=name, planted_plants=None, status="standing", gate="")
        made["geometry"]["coordinates"] = [layout.ring(corners)]
        return made
    ground = {zone: sorted(cells, key=layout.area_m2, reverse=True) for zone, cells in free.items()}
    tie = small(ground["Mesa del Tule"][0])
    crossed = [tie[0], tie[2], tie[1], tie[3]]
    made = [like("Mesa del Tule", "MT-91", "El Moño", crossed)]
    note("bow_tie_outline", "MT-91", "invalid_ring", "corners in the wrong order: the outline crosses itself; the plot waits")
    left = small(ground["Vado Seco"][0])
    right = [(x + 70.0, y + 45.0) for x, y in left]
    made += [like("Vado Seco", "VS-91", "Los Encimados", left), like("Vado Seco", "VS-92", "Los Encimados Dos", right)]
    note("overlapping_outlines", "VS-91 VS-92", "overlap", "walked twice with another corner: both outlines cover the same ground; both wait")
    twin = next(p for p in plots if p.zone == "Los Hornos" and p.planted_on.year == 2025)
    made.append(like("Los Hornos", twin.code, "La Repetida", small(ground["Los Hornos"][0])))
    note("duplicate_code", twin.code, "duplicate_code", f"La Repetida carries the code of {twin.name}; the one that came first stays, La Repetida waits")
    return made
    ground = {zone: sorted(cells, key=layout.area_m2, reverse=True) for zone, cells in free.items()}
    tie = small(ground["Mesa del Tule"][0])
    crossed = [tie[0], tie[2], tie[1], tie[3]]
    made = [like("Mesa del Tule", "MT-91", "El Moño", crossed)]
    note("bow_tie_outline", "MT-91", "invalid_ring", "corners in the wrong order: the outline crosses itself; the plot waits")
    left = small(ground["Vado Seco"][0])
    right = [(x + 70.0, y + 45.0) for x, y in left]
    made += [like("Vado Seco", "VS-91", "Los Encimados", left), like("Vado Seco", "VS-92", "Los Encimados Dos", right)]
    note("overlapping_outlines", "VS-91 VS-92", "overlap", "walked twice with another corner: both outlines cover the same ground; both wait")
    made += [like("Los Hornos", "LH-91", "La Repetida", small(ground["Los Hornos"][0])), like("Los Hornos", "LH-91", "La Repetida Chica", small(ground["Los Hornos"][1]))]
    note("duplicate_code", "LH-91", "duplicate_code", "two different plots carry one code; both wait")
    return made


def small(corners, clear_m: float = 90.0):
    """A four-sided piece well inside a cell, whatever the cell's shape."""
    x, y = layout.middle(corners)
    inner = layout.set_back(corners, clear_m)
    side = 170.0
    while True:
        piece = [(x - side, y - 0.7 * side), (x + 0.9 * side, y - 0.8 * side), (x + side, y + 0.75 * side), (x - 0.85 * side, y + 0.8 * side)]
        if all(_inside(p, inner) for p in piece) or side < 40:
            return piece
        side *= 0.9


def _inside(point, corners) -> bool:
    return all((b[0] - a[0]) * (point[1] - a[1]) >= (b[1] - a[1]) * (point[0] - a[0]) for a, b in zip(corners, (*corners[1:], corners[0])))
