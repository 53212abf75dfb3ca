"""What a spirit may be called: category by the source of its sugars, class by its time in wood.

Rules of NOM-006-SCFI-2012 (Bebidas alcohólicas – Tequila – Especificaciones, 2012): strength §6.1,
classes §4.36 and §6.4, categories §5.1.2 and §6.3. A user's own classes map to one of these.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..problems import Problem
from ..quantity import PUBLISHED, Constant

NORM = "NOM-006-SCFI-2012"
LOWEST_ABV = Constant("lowest strength", 35.0, "% vol", 0.0, f"{NORM} §6.1", PUBLISHED)
HIGHEST_ABV = Constant("highest strength", 55.0, "% vol", 0.0, f"{NORM} §6.1", PUBLISHED)
LEAST_AGAVE_SHARE = Constant("least share of sugars from agave", 0.51, "1", 0.0, f"{NORM} §5.1.2, §6.3", PUBLISHED)
LARGEST_CASK_L = Constant("largest cask for the aged classes", 600.0, "L", 0.0, f"{NORM} §6.4", PUBLISHED)
FULL, MIXED = "full", "mixed"
CATEGORIES = (FULL, MIXED)


@dataclass(frozen=True)
class Class:
    """A class of the norm: least time in wood and whether casks are limited in size."""

    name: str
    months: float
    small_cask: bool


UNAGED, RESTED, AGED, LONG_AGED, YOUNG = "unaged", "rested", "aged", "long_aged", "young"
CLASSES: dict[str, Class] = {
    UNAGED: Class(UNAGED, 0.0, False), YOUNG: Class(YOUNG, 0.0, False), RESTED: Class(RESTED, 2.0, False),
    AGED: Class(AGED, 12.0, True), LONG_AGED: Class(LONG_AGED, 36.0, True),
}
AGE_ORDER = (UNAGED, RESTED, AGED, LONG_AGED)
WORDS: dict[str, str] = {
    "blanco": UNAGED, "plata": UNAGED, "blanca": UNAGED, "silver": UNAGED, "unaged": UNAGED, "reposado": RESTED, "rested": RESTED,
    "añejo": AGED, "anejo": AGED, "aged": AGED, "extra añejo": LONG_AGED, "extra anejo": LONG_AGED, "extra_anejo": LONG_AGED,
    "extra_añejo": LONG_AGED, "long_aged": LONG_AGED, "extra aged": LONG_AGED, "joven": YOUNG, "oro": YOUNG, "gold": YOUNG, "young": YOUNG,
}
CATEGORY_WORDS: dict[str, str] = {
    "100 %": FULL, "100%": FULL, "100": FULL, "100 % agave": FULL, "100% agave": FULL, "100 % de agave": FULL, "100% de agave": FULL, "full": FULL,
    "51 %": MIXED, "51%": MIXED, "51": MIXED, "mixto": MIXED, "mixed": MIXED, "tequila": MIXED, "≥ 51 %": MIXED, ">=51%": MIXED,
}


def class_of(months: float, cask_l: float) -> str:
    """The highest class that ``months`` in oak of ``cask_l`` litres allow.

    Under two months (or no oak at all) it stays unaged; large vats may rest a spirit for ever
    without making it aged.
    """
    if not (months >= 0 and cask_l > 0):
        raise Problem("ageing_not_possible", where="classes", months=months, cask_l=cask_l)
    best = UNAGED
    for name in AGE_ORDER:
        rule = CLASSES[name]
        if months >= rule.months and (cask_l <= LARGEST_CASK_L.value or not rule.small_cask):
            best = name
    return best


def blend_of(parts: list[str]) -> str:
    """Class of a blend: with unaged spirit in it *young*, else the youngest part's class (§4.36, §6.4)."""
    if not parts:
        raise Problem("blend_empty", where="classes")
    kinds = {_known(part) for part in parts}
    if len(kinds) == 1:
        return next(iter(kinds))
    if UNAGED in kinds or YOUNG in kinds:
        return YOUNG
    return min(kinds, key=AGE_ORDER.index)


def category_of(agave_share: float) -> str:
    """``full`` for 1.0, ``mixed`` from 0.51; Problem ``agave_share_too_low`` below."""
    if not LEAST_AGAVE_SHARE.value - 1e-12 <= agave_share <= 1.0 + 1e-12:
        raise Problem("agave_share_too_low", where="category", percent=round(100 * agave_share, 2))
    return FULL if agave_share >= 1.0 - 1e-12 else MIXED


def checked_abv(abv: float) -> float:
    """The strength, or Problem ``abv_not_allowed`` outside 35…55 % vol."""
    if not LOWEST_ABV.value <= abv <= HIGHEST_ABV.value:
        raise Problem("abv_not_allowed", where="abv", value=abv)
    return float(abv)


def years_in_wood(name: str, own: dict[str, float] | None = None) -> float:
    """Least years in wood of a class; ``own`` adds the user's classes (name → years)."""
    if own and name in own:
        return float(own[name])
    return CLASSES[_known(name)].months / 12.0


def _known(name: str) -> str:
    if name not in CLASSES:
        raise Problem("class_unknown", where=name, classes=", ".join(CLASSES))
    return name
