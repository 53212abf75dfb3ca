"""What was said about piñas and tonnes when: kept as it was made, to be held against the scale."""

from __future__ import annotations

from ..said import SaidTable

SAID = SaidTable("said_mass", ("key", "on_day", "plot", "week", "pina_kg", "pina_log_sd", "mass_t", "mass_low80_t", "mass_high80_t"))
"""key, day, plot, week, kg per piña, its log sd, t in the median, t low and high at 80 % (log-normal). What pages say of tonnes, the mean, the crop keeps."""
