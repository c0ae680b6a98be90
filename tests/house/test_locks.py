"""The lock files: complete, hashed, and tied to no registry."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

LOCKS = ("requirements.lock", "requirements-dev.lock")
PIN = re.compile(r"^(?P<name>[a-z0-9-]+)==(?P<version>[^ ;\\]+)", re.MULTILINE)


def pins(checkout: Path, lock: str) -> dict[str, str]:
    """The pinned version of each package of a lock."""
    return dict(PIN.findall((checkout / lock).read_text(encoding="utf-8")))


def declared(checkout: Path) -> dict[str, list[str]]:
    """The names that pyproject.toml asks for, for each lock."""
    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))
    asked = {LOCKS[0]: project["project"]["dependencies"]}
    asked[LOCKS[1]] = [*asked[LOCKS[0]], *project["dependency-groups"]["dev"], *project["build-system"]["requires"]]
    return {lock: [re.split(r"[<>=!~ \[;]", line)[0] for line in lines] for lock, lines in asked.items()}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_names_no_address(checkout: Path, lock: str) -> None:
    text = (checkout / lock).read_text(encoding="utf-8")
    assert "://" not in text
    assert not re.search(r"^\s*--(?!hash=)", text, re.MULTILINE)


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_of_a_lock_carries_a_hash(checkout: Path, lock: str) -> None:
    entries = re.split(r"\n(?=\S)", (checkout / lock).read_text(encoding="utf-8").strip())
    assert len(entries) == len(pins(checkout, lock))
    assert [entry.splitlines()[0] for entry in entries if "--hash=sha256:" not in entry] == []


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_everything_that_the_project_asks_for(checkout: Path, lock: str) -> None:
    assert set(declared(checkout)[lock]) <= set(pins(checkout, lock))


def test_the_tests_use_the_versions_that_keepers_get(checkout: Path) -> None:
    runtime, dev = (pins(checkout, lock) for lock in LOCKS)
    assert runtime.items() <= dev.items()
