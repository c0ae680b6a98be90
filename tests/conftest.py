"""What all tests share: the profiles of the property tests, and the checkout."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

# "check" gives the same examples on every machine, so that a failing check can be repeated; "dev" looks for new ones.
# Neither judges how fast this machine is.
_PATIENT = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("dev", max_examples=50, **_PATIENT)
settings.register_profile("check", max_examples=200, derandomize=True, database=None, print_blob=True, **_PATIENT)
settings.load_profile(os.environ.get("TUBWATER_PROFILE", "dev"))
if os.environ.get("TUBWATER_PROFILE") == "check":
    # It also draws numbers that stand in the source of whatever a process has loaded so far, which hangs on the tests
    # that ran before; no setting turns that off.
    providers._get_local_constants = lambda: providers.GLOBAL_CONSTANTS


@pytest.fixture(scope="session")
def checkout() -> Path:
    """The folder that holds pyproject.toml."""
    return Path(__file__).resolve().parent.parent
