"""What was said of tonnes when: the means of the joint draws, as every page shows them, kept to be held against the scale."""

from __future__ import annotations

from ..said import SaidTable

SAID = SaidTable("said_tonnes", ("key", "on_day", "plot", "week", "mass_t", "mass_low80_t", "mass_high80_t"))
"""key, day, plot, week, t in the mean, t low and high at 80 %."""
