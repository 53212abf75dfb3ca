"""Foreign column names and values at the door: read once, into the house names and units."""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import date, datetime
from typing import Any

NAMES: dict[str, tuple[str, ...]] = {
    "code": ("code", "clave", "codigo", "id_tabla", "tabla_id", "plot", "plot_code"),
    "name": ("name", "nombre", "tabla", "plot_name"),
    "parcel": ("parcel", "predio", "parcel_code", "clave_predio"),
    "parcel_name": ("parcel_name", "nombre_predio", "parcel_nam"),
    "registry_number": ("registry_number", "registro", "numero_registro", "registry_n"),
    "tenure": ("tenure", "tenencia"),
    "lease_end": ("lease_end", "fin_renta", "vence"),
    "registered_plants": ("registered_plants", "plantas_registradas", "registered"),
    "share": ("share", "parte"),
    "zone": ("zone", "zona"),
    "altitude_m": ("altitude_m", "altitud", "altitud_m"),
    "haul_km": ("haul_km", "km_fabrica", "distancia_km"),
    "truck_max_t": ("truck_max_t", "camion_max_t", "truck_max_"),
    "wet_road": ("wet_road", "camino_aguas"),
    "variety": ("variety", "variedad"),
    "row_spacing_m": ("row_spacing_m", "surcos_m", "entre_surcos", "row_spacin"),
    "plant_spacing_m": ("plant_spacing_m", "plantas_m", "entre_plantas", "plant_spac"),
    "planted_on": ("planted_on", "plantado", "fecha_plantacion", "planted"),
    "offset_size_cm": ("offset_size_cm", "hijuelo_cm", "offset_siz"),
    "status": ("status", "estado"),
    "gate": ("gate", "entrada", "porton"),
    "planted_plants": ("planted_plants", "plantas", "plantas_puestas", "planted_pl"),
}
NUMBERS = {"registered_plants": int, "share": float, "altitude_m": float, "haul_km": float, "truck_max_t": float, "row_spacing_m": float,
           "plant_spacing_m": float, "offset_size_cm": float, "planted_plants": int}
LIMITS = {"row_spacing_m": (0.5, 10), "plant_spacing_m": (0.3, 5), "altitude_m": (-50, 4000), "haul_km": (0, 1000), "truck_max_t": (1, 60),
          "offset_size_cm": (5, 120), "planted_plants": (0, 5_000_000), "registered_plants": (0, 5_000_000), "share": (0, 1)}
DATES = ("lease_end", "planted_on")
CHOICES = {
    "tenure": {"owned": "owned", "propio": "owned", "propia": "owned", "leased": "leased", "rentado": "leased", "renta": "leased", "shared": "shared", "a medias": "shared", "compartido": "shared"},
    "status": {"standing": "standing", "en pie": "standing", "cut": "cut", "jimada": "cut", "jimado": "cut", "fallow": "fallow", "descanso": "fallow", "retired": "retired", "baja": "retired"},
}
_YES = {"1", "true", "yes", "si", "sí", "y", "s", "1.0"}


def plain(text: str) -> str:
    """Lower case without accents or odd separators: how column names are compared."""
    base = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", base).strip("_")


def columns(names: list[str]) -> dict[str, str]:
    """House name → the file's column that carries it (first match wins)."""
    seen = {plain(name): name for name in names}
    return {house: next(seen[n] for n in known if n in seen) for house, known in NAMES.items() if any(n in seen for n in known)}


def is_blank(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value)) or str(value).strip() in ("", "nan", "NaT", "None", "null")


def tidy(house: str, value: Any) -> tuple[Any, str]:
    """(value in house units, "") or (None, the text that could not be read)."""
    if is_blank(value):
        return None, ""
    text = str(value).strip()
    if house in NUMBERS:
        try:
            number = float(text.replace(",", "." if "." not in text and text.count(",") == 1 and len(text.split(",")[1]) != 3 else ""))
        except ValueError:
            return None, text
        low, high = LIMITS[house]
        if not low <= number <= high:
            return None, text
        return (int(round(number)) if NUMBERS[house] is int else number), ""
    if house in DATES:
        found = _date(value, text)
        return found, "" if found else text
    if house in CHOICES:
        found = CHOICES[house].get(text.lower())
        return found, "" if found else text
    if house == "wet_road":
        return int(text.lower() in _YES), ""
    return re.sub(r"[\x00-\x1f]", " ", text)[:200], ""


def _date(value: Any, text: str) -> str | None:
    if isinstance(value, (datetime, date)):
        return value.isoformat()[:10]
    for pattern in ("%Y-%m-%d", "%d/%m/%Y", "%Y/%m/%d", "%d-%m-%Y"):
        try:
            return datetime.strptime(text[:10], pattern).date().isoformat()
        except ValueError:
            continue
    return None
