"""Benchmarks are found by their file and shown in one table."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def bench(checkout: Path) -> ModuleType:
    """The runner of the benchmarks."""
    spec = importlib.util.spec_from_file_location("bench_run", checkout / "bench" / "run.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_benchmark_offers_run(bench: ModuleType, checkout: Path) -> None:
    assert "startup" in bench.benchmarks()
    for name in bench.benchmarks():
        module, package = checkout / "bench" / f"{name}.py", checkout / "bench" / name / "__init__.py"
        text = (module if module.exists() else package).read_text(encoding="utf-8")
        assert "\ndef run() -> list[tuple[str, str]]:" in text


def test_the_table_lines_up(bench: ModuleType) -> None:
    lines = bench.table([("startup", "help", "2 x"), ("a", "a longer row", "300 x")]).splitlines()
    assert {len(line) for line in lines} == {len(lines[0])}
    assert lines[2] == "| startup   | help         | 2 x    |"


def test_an_unknown_benchmark_is_refused_with_the_known_ones(
    bench: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bench.main(["fly"]) == 2
    assert "startup" in capsys.readouterr().err
