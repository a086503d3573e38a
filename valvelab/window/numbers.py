"""Numbers and units as the window shows them: the rules of `valvelab.units` and `valvelab.decimals`, said aloud."""

from __future__ import annotations

from valvelab import decimals, units
from valvelab.language import aloud

show = aloud()(units.show)
with_unit = aloud()(units.with_unit)
display_unit = aloud()(units.display_unit)
told = aloud()(decimals.told)
figure = aloud()(decimals.figure)
limit = aloud()(decimals.limit)
percent = aloud()(decimals.percent)
