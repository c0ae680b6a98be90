"""Whatever is sent to the interface for scripts, by its own description or against it, is never answered with a fault.

The cases come from the description itself. Where it leaves a name open, often one is put in that exists, since a tub
that nobody has is refused at once and nothing behind it is tried.
"""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from starlette.types import Receive, Scope, Send

from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames, SystemClock
from tubwater.services.visits import Visits
from tubwater.web import create_app
from web.world import World


class Served:
    """The application that answers: an empty one while its description is read, then that of the world."""

    def __init__(self) -> None:
        nothing = Keeping(MemoryEntries(), MemorySnapshots(), SystemClock(), RandomNames())
        self.app = create_app(nothing, hosts=None)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.app(scope, receive, send)


SERVED = Served()
DESCRIBED = schemathesis.openapi.from_asgi("/api/openapi.json", SERVED)
OPERATIONS = [found.ok() for found in DESCRIBED.get_all_operations()]
EXAMPLES = 20
DEAR = {"packet": 3, "outlook": 3, "plan": 5, "due": 3, "stock": 3, "card": 3}  # to foresee a visit is much work
KNOWN = {"tub": "larch", "visit": "begun", "entry": "read"}
# With everything at once hardly anything can be meant, so mostly a few fields are sent.
WHAT_IS_TOLD = st.sampled_from(
    [("what",), ("what", "at"), ("what", "test"), ("what", "amount", "measures", "to"), ("saw",)]
)
HOW_KNOWN = st.sampled_from([(), ("tub",), ("tub", "entry"), *[(*KNOWN, "step")] * 4])


@pytest.fixture(scope="module")
def world() -> World:
    found = World()
    SERVED.app = found.app
    return found


@pytest.mark.parametrize("operation", OPERATIONS, ids=[operation.label for operation in OPERATIONS])
def test_nothing_that_is_sent_is_answered_with_a_fault(operation: Any, world: World) -> None:
    modes = [operation.as_strategy(generation_mode=mode) for mode in GenerationMode]
    row = Visits(world.keeping).show("larch", "begun").turn
    most = DEAR.get(operation.label.rpartition("/")[2], EXAMPLES)
    assert row is not None

    @seed(7)
    @settings(max_examples=most, phases=[Phase.generate], suppress_health_check=list(HealthCheck), deadline=None)
    @given(case=st.one_of(modes), known=HOW_KNOWN, told=WHAT_IS_TOLD)
    def asked(case: Case, known: tuple[str, ...], told: tuple[str, ...]) -> None:
        if case.method.upper() != "GET":  # what was only asked for need not be computed again
            world.entries.rewind()
        named = {name: KNOWN[name] for name in known if name in (case.path_parameters or {})}
        case.path_parameters = {**(case.path_parameters or {}), **named}
        if "step" in known and isinstance(case.body, dict):
            case.body = {key: value for key, value in case.body.items() if key in told} | {"step": row.key}
        answer = case.call(timeout=600)
        assert answer.status_code < 500, answer.text
        assert answer.status_code < 400 or answer.json()["error"]

    world.entries.remember()
    asked()
    world.entries.rewind()
