"""The tub card: careful, dated, the same for a day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tubwater.facts import guidelines
from tubwater.services.card import CARD_DAYS, TubCard, card_of
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind
from tubwater.tub import Quantity, VerdictKind

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
BODY: dict[str, Any] = {
    "tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"},
    "product": [
        {"name": "oxidizer", "substance": "potassium monopersulfate", "strength": "43 %", "scoop": "20 g"},
        {"name": "dry acid", "substance": "sodium bisulfate", "strength": "93 %", "spoon": "15 g"},
        {"name": "soda ash", "substance": "soda ash", "strength": "99 %", "spoon": "12 g"},
    ],
}


class Clock:
    time = NOW

    def now(self) -> datetime:
        return self.time


@pytest.fixture(scope="module")
def kept() -> tuple[Keeping, str, TubCard]:
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    tub = keeping.add_tub(BODY)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 5.0, "pH": 7.5})
    return keeping, tub, card_of(keeping, tub)


def test_a_card_is_dated_and_void_after_two_weeks(kept: tuple[Keeping, str, TubCard]) -> None:
    card = kept[2]
    assert (card.made, card.void) == (NOW, NOW + timedelta(days=CARD_DAYS)) and card.method == "photometer"


def test_no_pair_outside_the_bathing_limits_is_called_inside(kept: tuple[Keeping, str, TubCard]) -> None:
    limits = guidelines()["household"].limits
    bromine, ph = limits[Quantity.BROMINE], limits[Quantity.PH]
    for row in kept[2].rows:
        inside = bromine.bathing_low <= row.sanitizer <= bromine.bathing_high
        inside = inside and ph.bathing_low <= row.ph <= ph.bathing_high
        assert inside or row.verdict is not VerdictKind.FIT
        far = row.sanitizer < bromine.keep_out_low or row.ph > ph.keep_out_high
        assert not far or row.verdict is VerdictKind.KEEP_OUT


def test_a_pair_that_is_not_inside_says_what_goes_in_first_or_asks_for_a_plan(
    kept: tuple[Keeping, str, TubCard],
) -> None:
    for row in kept[2].rows:
        assert row.verdict is VerdictKind.FIT or row.first is not None or row.ask
        if row.first is not None:
            lowers = row.first.substance == "sodium-bisulfate"
            assert not lowers or row.ph > 7.2


def test_a_card_stays_the_same_for_the_day_until_something_is_entered(kept: tuple[Keeping, str, TubCard]) -> None:
    keeping, tub, card = kept
    assert card_of(keeping, tub) == card
    keeping.record(tub, Kind.DOSED, {"product": "dry acid", "measures": 2})
    assert card_of(keeping, tub) != card
