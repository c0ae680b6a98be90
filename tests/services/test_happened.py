"""What may have happened says only what cannot wait; the plan that follows from the same sign does the rest."""

from __future__ import annotations

import pytest

from tubwater.advice.senses import kind_of_sign
from tubwater.facts.situations import procedures
from tubwater.services.happened import Happened, all_happened

LATER = {"drain", "refill", "clean", "shock", "new-filter", "purge"}


@pytest.mark.parametrize("what", all_happened().values(), ids=all_happened())
def test_every_sign_has_a_procedure_and_its_first_steps_leave_the_rest_to_it(what: Happened) -> None:
    assert what.steps[0] == "out" and not LATER & set(what.steps)
    if what.sign is not None:
        assert any(kind_of_sign(what.sign) in procedure.reasons for procedure in procedures().values())
