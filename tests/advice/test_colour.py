"""Much sanitizer spoils a pH that was read by a colour, and no other."""

from __future__ import annotations

import pytest

from advice.scenes import CLEAR, NOW, SHELF, TUB, reading
from tubwater.facts import Quantity
from tubwater.services import verdict_for
from tubwater.services.advise import case_of
from tubwater.tub import Tested as Readings


@pytest.mark.parametrize(("method", "counts"), [("electrode", True), ("visual-comparator", False), ("strip", False)])
def test_at_much_bromine_only_an_electrode_still_tells_the_ph(method: str, counts: bool) -> None:
    ph = 7.2 if method == "strip" else 7.4
    much = Readings(NOW, (reading(Quantity.BROMINE, 13.5, "fas-dpd-drops"), reading(Quantity.PH, ph, method)))
    case = case_of(TUB, SHELF, [CLEAR, much], NOW, members=100)
    assert (case.last_valid(Quantity.PH) is not None) is counts
    kinds = {r.kind for r in verdict_for(TUB, SHELF, [CLEAR, much], NOW).reasons}
    assert ("ph-colour-spoiled" in kinds) is not counts
