"""Range lines and charts as SVG that follow the page's colours, each with a table that says the same.

Classes (all optional; without a style sheet the ink of the page is used): ``wl`` a range line, ``w-band`` the wanted
range, ``w-good``/``w-ok``/``w-not``/``w-out`` the axis where wanted, allowed, not yet, keep out, ``w-is``/``w-is-tail``
what is believed, ``w-halo``/``w-plan`` where a plan takes it, ``w-test`` what was read, ``w-off`` an arrow off the
line, ``w-num``/``lim`` numerals; ``plot`` a chart, ``o-is90``/``o-is50``/``o-to90``/``o-to50`` bands, ``o-mid``
middles, ``o-day``/``o-now``/``o-keep`` rules, ``o-test``/``halo`` readings, ``o-mark`` what happened.
"""

from __future__ import annotations

from tubwater.reports.bandchart import Band, BandChart, Happening, Seen, band_chart, band_table
from tubwater.reports.rangeline import RangeLine, Standing, range_line, range_sentence, range_table, standing_of
from tubwater.reports.scale import Table

__all__ = [
    "Band",
    "BandChart",
    "Happening",
    "RangeLine",
    "Seen",
    "Standing",
    "Table",
    "band_chart",
    "band_table",
    "range_line",
    "range_sentence",
    "range_table",
    "standing_of",
]
