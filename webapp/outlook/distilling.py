"""Alcohol tables, dilution and the sugar-to-spirit ceiling: from tonnes of agave to litres.

Densities follow OIML R 22 (International Organization of Legal Metrology, 1975, *International
alcoholometric tables*): the general formula in mass fraction and temperature, −20 °C to 40 °C.
Strength is always % vol at 20 °C.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..problems import Problem
from ..quantity import COMMON_PRACTICE, PUBLISHED, Constant

OIML = "OIML R 22, 1975, International alcoholometric tables, general formula"
_A = np.array([998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388, 306287.4042,
               -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426])
_B = np.array([-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11])
_C = (
    np.array([1.693443461530087e-1, -1.046914743455169e1, 7.196353469546523e1, -7.047478054272792e2, 3.924090430035045e3,
              -1.210164659068747e4, 2.248646550400788e4, -2.605562982188164e4, 1.852373922069467e4, -7.420201433430137e3, 1.285617841998974e3]),
    np.array([-1.193013005057010e-2, 2.517399633803461e-1, -2.170575700536993, 1.353034988843029e1, -5.029988758547014e1,
              1.096355666577570e2, -1.422753946421155e2, 1.080435942856230e2, -4.414153236817392e1, 7.442971530188783]),
    np.array([-6.802995733503803e-4, 1.876837790289664e-2, -2.002561813734156e-1, 1.022992966719220, -2.895696483903638,
              4.810060584300675, -4.672147440794683, 2.458043105903461, -5.411227621436812e-1]),
    np.array([4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6]),
    np.array([-2.788074354782409e-8, 1.345612883493354e-8]),
)
HEXOSE_G_MOL = Constant("molar mass of a hexose, C6H12O6", 180.156, "g/mol", 0.001, "IUPAC standard atomic weights (abridged) 2021")
WATER_G_MOL = Constant("molar mass of water", 18.015, "g/mol", 0.001, "IUPAC standard atomic weights (abridged) 2021")
ETHANOL_G_MOL = Constant("molar mass of ethanol", 46.069, "g/mol", 0.001, "IUPAC standard atomic weights (abridged) 2021")
GAY_LUSSAC = Constant("ethanol per hexose at the stoichiometric limit", 2 * ETHANOL_G_MOL.value / HEXOSE_G_MOL.value, "kg/kg", 0.0001,
                      "Gay-Lussac's equation C6H12O6 → 2 C2H5OH + 2 CO2", PUBLISHED)
FRUCTAN_DP = Constant("mean degree of polymerisation of mature blue agave fructan", 21.11, "1", 0.5,
                      "Botanical Sciences, 2021, article 2641 (Arandas, spring 2019)", PUBLISHED)
STANDARD_ABV = Constant("strength of the trade's litre", 40.0, "% vol", 0.0, "the regulatory council counts litres at 40 % vol", COMMON_PRACTICE)


def density_kg_m3(mass_fraction: np.ndarray | float, temp_c: np.ndarray | float = 20.0) -> np.ndarray | float:
    """Density (kg/m³) of ethanol–water of ethanol mass fraction 0…1 at ``temp_c`` (−20…40 °C), OIML R 22."""
    p, d = np.asarray(mass_fraction, float), np.asarray(temp_c, float) - 20.0
    if np.any(~((p >= 0) & (p <= 1))) or np.any(~((d >= -40) & (d <= 20))):
        raise ValueError("OIML R 22 holds for mass fraction 0…1 and −20…40 °C")
    rho = np.polynomial.polynomial.polyval(p, _A) + d * np.polynomial.polynomial.polyval(d, _B)
    for power, row in enumerate(_C, start=1):
        rho = rho + d**power * p * np.polynomial.polynomial.polyval(p, row)
    return rho if rho.ndim else float(rho)


ETHANOL_KG_M3 = Constant("density of ethanol at 20 °C", float(density_kg_m3(1.0)), "kg/m³", 0.05, OIML)


def abv_of(mass_fraction: np.ndarray | float) -> np.ndarray | float:
    """% vol at 20 °C of a mass fraction 0…1."""
    return 100.0 * np.asarray(mass_fraction, float) * density_kg_m3(mass_fraction) / ETHANOL_KG_M3.value


def mass_fraction_of(abv: np.ndarray | float) -> np.ndarray | float:
    """Mass fraction 0…1 of a strength in % vol at 20 °C (bisection; % vol rises with mass fraction)."""
    target = np.asarray(abv, float)
    if np.any(~((target >= 0) & (target <= 100))):
        raise Problem("abv_out_of_scale", where=str(abv), value=str(abv))
    low, high = np.zeros_like(target), np.ones_like(target)
    for _ in range(60):
        middle = (low + high) / 2
        below = abv_of(middle) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    found = (low + high) / 2
    return found if found.ndim else float(found)


def density_at_abv(abv: float, temp_c: float = 20.0) -> float:
    """kg/m³ of a spirit of ``abv`` % vol (at 20 °C), held at ``temp_c``."""
    return float(density_kg_m3(mass_fraction_of(abv), temp_c))


@dataclass(frozen=True)
class Dilution:
    """What a dilution gives: final volume and water to add (litres at 20 °C), pure alcohol in it (litres)."""

    volume_l: float
    water_l: float
    alcohol_l: float


def dilute(volume_l: float, from_abv: float, to_abv: float) -> Dilution:
    """Bring ``volume_l`` at ``from_abv`` down to ``to_abv`` % vol; masses add, volumes don't (contraction).

    Raises Problem ``dilution_upward`` when asked to strengthen, ``abv_out_of_scale`` outside 0…100.
    """
    if not 0 < to_abv <= from_abv:
        raise Problem("dilution_upward", where=f"{from_abv} → {to_abv}", from_abv=from_abv, to_abv=to_abv)
    alcohol_l = volume_l * from_abv / 100.0
    final_l = alcohol_l * 100.0 / to_abv
    water_kg = (final_l * density_at_abv(to_abv) - volume_l * density_at_abv(from_abv)) / 1000.0
    return Dilution(final_l, water_kg * 1000.0 / float(density_kg_m3(0.0)), alcohol_l)


def hexose_per_fructan(dp: float = np.inf) -> float:
    """kg of hexose per kg of fructan of ``dp`` units after full hydrolysis: each broken bond takes up one water."""
    hexose, water = HEXOSE_G_MOL.value, WATER_G_MOL.value
    if np.isinf(dp):
        return hexose / (hexose - water)
    return dp * hexose / (dp * hexose - (dp - 1) * water)


def litres_per_tonne(art: float, abv: float = 40.0, extraction: float = 1.0, fermentation: float = 1.0, distillation: float = 1.0) -> float:
    """Litres at ``abv`` from one tonne of agave of ART ``art`` (t per t) with stage efficiencies in (0, 1]."""
    for name, share in (("art", art), ("extraction", extraction), ("fermentation", fermentation), ("distillation", distillation)):
        if not 0 < share <= 1:
            raise Problem("share_out_of_range", where=name, name=name, value=share)
    ethanol_kg = 1000.0 * art * GAY_LUSSAC.value * extraction * fermentation * distillation
    return ethanol_kg / (ETHANOL_KG_M3.value / 1000.0) / (abv / 100.0)


def least_kg_per_l(art: float, abv: float = 40.0) -> float:
    """Kilograms of agave per litre below which no distillery can go (Gay-Lussac)."""
    return 1000.0 / litres_per_tonne(art, abv)


def checked_kg_per_l(kg_per_l: float, art: float, abv: float = 40.0) -> float:
    """The claimed kilograms per litre, or Problem ``yield_above_ceiling`` when sugar can't give so much spirit."""
    floor = least_kg_per_l(art, abv)
    if not kg_per_l >= floor:
        raise Problem("yield_above_ceiling", where="agave_kg_per_l_40", value=round(float(kg_per_l), 3), floor=round(floor, 3), art_percent=round(100 * art, 1), abv=abv)
    return float(kg_per_l)


def agave_t(litres_40: np.ndarray | float, kg_per_l: np.ndarray | float, agave_share: float = 1.0) -> np.ndarray | float:
    """Tonnes of agave for ``litres_40`` (at 40 % vol) at ``kg_per_l`` of a 100 % spirit; ``agave_share`` of its sugars from agave."""
    return np.asarray(litres_40, float) * np.asarray(kg_per_l, float) * agave_share / 1000.0


def litres_at_40(litres: np.ndarray | float, abv: float) -> np.ndarray | float:
    """Litres of ``abv`` % vol counted as litres at 40 % vol (pure alcohol is what is kept)."""
    return np.asarray(litres, float) * abv / STANDARD_ABV.value


def hectares_for(litres_40: float, kg_per_l: float, pina_kg: float, survival: float, plants_per_ha: float) -> dict[str, float]:
    """The plain chain from demand to land: tonnes, piñas, plants to set out, hectares (no timing, no luck)."""
    mass_t = float(agave_t(litres_40, kg_per_l))
    pinas = mass_t * 1000.0 / pina_kg
    plants = pinas / survival
    return {"mass_t": mass_t, "pinas": pinas, "plants": plants, "area_ha": plants / plants_per_ha}
