"""Every fixed number of this room, gathered for the page that tells the method."""

from .classes import HIGHEST_ABV, LARGEST_CASK_L, LEAST_AGAVE_SHARE, LOWEST_ABV
from .distilling import ETHANOL_G_MOL, ETHANOL_KG_M3, FRUCTAN_DP, GAY_LUSSAC, HEXOSE_G_MOL, STANDARD_ABV, WATER_G_MOL
from .supply import LAST_AGE, PACE_SD, RIPE_MIDDLE, RIPE_SPREAD

__all__ = [
    "HEXOSE_G_MOL", "WATER_G_MOL", "ETHANOL_G_MOL", "ETHANOL_KG_M3", "GAY_LUSSAC", "FRUCTAN_DP", "STANDARD_ABV",
    "LOWEST_ABV", "HIGHEST_ABV", "LEAST_AGAVE_SHARE", "LARGEST_CASK_L", "LAST_AGE", "RIPE_MIDDLE", "RIPE_SPREAD", "PACE_SD",
]
