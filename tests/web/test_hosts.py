"""Under which names the application answers."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.web import create_app


@pytest.mark.parametrize(
    "host, status", [("127.0.0.1:8000", 200), ("localhost", 200), ("[::1]:8000", 200), ("tub.example", 421)]
)
def test_this_computer_answers_to_its_own_names_only(keeping: Keeping, host: str, status: int) -> None:
    client = TestClient(create_app(keeping))
    assert client.get("/healthz", headers={"host": host}).status_code == status
