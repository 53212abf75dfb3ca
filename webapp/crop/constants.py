"""Numbers of the crop that are not settings, each with its source."""

from __future__ import annotations

from ..quantity import FROM_MEMORY, Constant

LOAD_SD = Constant("spread of one load's ART/°Brix about its plot's and laboratory's line", 0.07, "% ART per °Bx", 0.0, "assumption: the plants read are not those cut; learned from the loads", FROM_MEMORY)
LAB_SD = Constant("how much laboratories may differ for good", 0.02, "% ART per °Bx", 0.0, "assumption", FROM_MEMORY)
PLOT_SD = Constant("how much plots may differ for good in ART per °Brix", 0.03, "% ART per °Bx", 0.0, "assumption: what refractometers there read is not what mills there yield", FROM_MEMORY)
TIE_SD = Constant("prior sd of the correlation of a plot's piñas with its level of °Brix, and with its pace", 0.4, "1", 0.0,
                  "assumption, about 0: no published value, heavier plots may be riper or, under stress, less ripe; learned from plots both read and weighed", FROM_MEMORY)
