"""Range lines and charts: what they say, where things stand on them, and that they follow the page."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tubwater.facts import guidelines
from tubwater.reports.charts import (
    Band,
    BandChart,
    Happening,
    RangeLine,
    Seen,
    Standing,
    band_chart,
    band_table,
    range_line,
    range_sentence,
    range_table,
    standing_of,
)
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Expectation, Quantity

NOW = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
SVG = "{http://www.w3.org/2000/svg}"
HOUSEHOLD = guidelines()["household"].limits
BROMINE = HOUSEHOLD[Quantity.BROMINE]


def line(median: float = 4.0, **more: object) -> RangeLine:
    """A bromine line."""
    believed = Expectation(Quantity.BROMINE, median, 0.8 * median, 1.3 * median)
    return RangeLine(Quantity.BROMINE, BROMINE, believed, **more)  # type: ignore[arg-type]


def chart() -> BandChart:
    """Four days of bromine with a reading, a soak and a planned visit."""
    at = tuple(NOW - timedelta(days=4) + timedelta(hours=6 * n) for n in range(17))
    rows = (tuple(share * (6.0 - 0.2 * n) for n in range(17)) for share in (0.6, 0.8, 1.0, 1.2, 1.5))
    seen = Seen(NOW, 2.0, 1.0, 3.0)
    happened = (Happening(at[3], "soak <2>"), Happening(NOW + timedelta(days=1), "visit", planned=True))
    return BandChart(Quantity.BROMINE, BROMINE, (Band(at, *rows),), (seen,), happened, NOW)


def classes(picture: str) -> list[str]:
    """The classes of a picture's elements; parsing also proves that it is well formed."""
    return [node.get("class", "") for node in ET.fromstring(picture).iter()]


def places(picture: str, name: str) -> list[float]:
    """Where elements of a class stand from left to right, per cent."""
    found = [node.get("x1") or node.get("x") for node in ET.fromstring(picture).iter() if node.get("class") == name]
    return [float(str(text).rstrip("%")) for text in found]


@pytest.mark.parametrize("picture", [range_line(line()), band_chart(chart())], ids=["line", "chart"])
def test_a_picture_has_a_title_and_a_description_and_names_them(picture: str) -> None:
    root = ET.fromstring(picture)
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and desc is not None and title.text and desc.text
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert root.get("role") == "img"


@pytest.mark.parametrize("picture", [range_line(line()), band_chart(chart())], ids=["line", "chart"])
def test_a_picture_holds_no_script_no_style_and_no_colour_of_its_own(picture: str) -> None:
    assert "<script" not in picture and "style=" not in picture and "#" not in picture
    colours = {node.get(key) for node in ET.fromstring(picture).iter() for key in ("fill", "stroke")}
    assert colours <= {None, "none", "currentColor", "Canvas"}


def test_the_wanted_range_is_the_middle_quarter_of_every_line() -> None:
    for quantity, limits in HOUSEHOLD.items():
        good = places(range_line(RangeLine(quantity, limits)), "w-good")
        assert good == [37.5], quantity


def test_a_reading_stands_on_its_scale() -> None:
    assert places(range_line(line(reading=(4.0, 4.0))), "w-test") == [50.0]


def test_between_two_steps_is_a_bar_between_two_ticks() -> None:
    assert places(range_line(line(reading=(1.0, 2.0))), "w-test") == [12.5, 25.0, 12.5]


@given(st.floats(0.01, 500.0), st.floats(0.0, 1e3) | st.just(math.inf))
def test_any_belief_and_reading_gives_a_well_formed_line_within_its_edges(median: float, reading: float) -> None:
    picture = range_line(line(median, reading=(min(reading, 2.0), reading)))
    assert all(0.0 <= x <= 100.0 for x in places(picture, "w-test"))
    assert ("w-off" in classes(picture)) == (median > 8.0)


def test_the_plan_of_a_wide_belief_does_not_hide_it_under_a_halo() -> None:
    wide, sharp = (Expectation(Quantity.BROMINE, 5.0, 5.0 - half, 5.0 + half) for half in (3.5, 0.6))
    found = [classes(range_line(RangeLine(Quantity.BROMINE, BROMINE, one, one))) for one in (wide, sharp)]
    assert [("w-is" in one, "w-plan" in one, "w-halo" in one) for one in found] == [
        (True, True, False),
        (True, True, True),
    ]


def test_numerals_do_not_run_into_each_other() -> None:
    for quantity, limits in {**HOUSEHOLD, **guidelines()["us-public"].limits}.items():
        picture = range_line(RangeLine(quantity, limits))
        found = sorted(places(picture, "w-num lim") + places(picture, "w-num"))
        assert all(b - a >= 8.0 for a, b in pairwise(found)), quantity


@pytest.mark.parametrize(
    ("value", "standing"),
    [
        (None, Standing.UNKNOWN),
        (1.9, Standing.FAR_LOW),
        (2.5, Standing.TOO_LOW),
        (3.0, Standing.GOOD),
        (5.0, Standing.GOOD),
        (6.0, Standing.HIGH),
        (10.5, Standing.FAR_HIGH),
    ],
)
def test_where_bromine_stands_at_home(value: float | None, standing: Standing) -> None:
    assert standing_of(value, BROMINE) is standing


def test_a_quantity_without_bathing_limits_keeps_nobody_out() -> None:
    assert standing_of(900.0, HOUSEHOLD[Quantity.CALCIUM_HARDNESS]) is Standing.HIGH


def test_the_table_of_a_line_says_all_that_the_line_shows() -> None:
    table = range_table(line(1.9, reading=(1.0, 2.0)))
    values = [row[1] for row in table.rows]
    assert values[0].startswith("1.9") and "1 to 2" in values and "3 to 5" in values and "3 to 10" in values
    assert all(len(row) == len(table.head) for row in table.rows)


def test_a_line_in_words_begins_with_where_the_value_stands() -> None:
    assert range_sentence(line(1.0)) != range_sentence(line(4.0))
    assert range_sentence(RangeLine(Quantity.BROMINE, BROMINE))


def test_temperatures_are_shown_in_the_keepers_degrees() -> None:
    warm = RangeLine(Quantity.TEMPERATURE, HOUSEHOLD[Quantity.TEMPERATURE])
    assert ">86<" in range_line(warm, units=UnitSystem.US) and ">30<" in range_line(warm)


def test_the_chart_shows_bands_readings_and_what_happened() -> None:
    found = classes(band_chart(chart()))
    for name in ("o-is90", "o-is50", "o-mid is", "o-test", "o-now", "o-mark", "o-mark to", "w-good", "o-keep"):
        assert name in found


def test_a_text_cannot_break_out_of_a_picture() -> None:
    assert "soak &lt;2&gt;" in band_chart(chart())


def test_the_table_of_a_chart_holds_every_reading_and_happening_in_order() -> None:
    table = band_table(chart())
    assert all(len(row) == len(table.head) for row in table.rows)
    assert sum(row[2:] == ("1", "2", "3") for row in table.rows) == 1
    assert [row[1] for row in table.rows if row[1] in ("soak <2>", "visit")] == ["soak <2>", "visit"]
    assert len(table.rows) <= 24 + 3


def test_a_chart_of_a_single_reading_is_drawn() -> None:
    picture = band_chart(BandChart(Quantity.PH, HOUSEHOLD[Quantity.PH], (), (Seen(NOW, 7.4, 7.3, 7.5),)))
    assert "o-test" in classes(picture)


def test_a_chart_of_nothing_is_no_picture_and_an_empty_table() -> None:
    nothing = BandChart(Quantity.PH, HOUSEHOLD[Quantity.PH], ())
    assert band_chart(nothing) == "" and band_table(nothing).rows == ()
