"""Correlations against the printed values of their sources at 25 and 38 degC."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest

from chemistry.waters import DATA
from tubwater.chemistry import DEFAULT, REFERENCE_2024, Constants, constants
from tubwater.chemistry.reactions import conditional
from tubwater.chemistry.water import COMPONENTS

with (DATA / "log_k.csv").open(encoding="utf-8") as lines:
    ROWS = list(csv.DictReader(line for line in lines if not line.startswith("#")))


def value_of(row: dict[str, str], celsius: float) -> float:
    function = getattr(constants, row["function"])
    chosen = {"default": DEFAULT, "2024": REFERENCE_2024}[row["choice"]]
    result = function(celsius, chosen) if row["choice"] == "2024" else function(celsius)
    return float(result)


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['function']}-{row['choice']}" for row in ROWS])
def test_a_correlation_gives_the_printed_value(row: dict[str, str]) -> None:
    for celsius in (25.0, 38.0):
        if printed := row[f"at_{celsius:.0f}"]:
            digits = len(printed.partition(".")[2])
            room = max(0.002, 0.5 * 10.0**-digits + 1e-9)
            assert value_of(row, celsius) == pytest.approx(float(printed), abs=room)


def test_density_dielectric_constant_and_debye_hueckel_give_the_printed_values() -> None:
    assert constants.density([10.0, 25.0, 38.0, 40.0]) == pytest.approx([999.70, 997.05, 992.97, 992.22], abs=0.006)
    assert constants.dielectric([25.0, 38.0]) == pytest.approx([78.30, 73.82], abs=0.01)
    a, b = constants.debye_hueckel([10.0, 25.0, 38.0, 40.0])
    assert a == pytest.approx([0.499, 0.511, 0.522, 0.524], abs=6e-4)
    assert b == pytest.approx([0.326, 0.329, 0.331, 0.331], abs=6e-4)


def test_the_temperature_model_of_cyanurates_gives_the_printed_values() -> None:
    at = {t: constants.pk_cyanurate(t) for t in (25.0, 38.0)}
    assert at[25.0]["H3Cy"] == pytest.approx(6.97, abs=0.006)
    assert at[38.0]["H3Cy"] == pytest.approx(6.72, abs=0.006)
    assert at[25.0]["mono"] == pytest.approx(5.83, abs=0.006)
    assert at[38.0]["mono"] == pytest.approx(5.51, abs=0.006)
    assert at[25.0]["di"] == pytest.approx(4.65, abs=0.006)
    assert at[38.0]["di"] == pytest.approx(4.37, abs=0.006)


def test_the_older_cyanurate_set_does_not_follow_temperature() -> None:
    fixed = Constants(cyanurate_at_25=True)
    at = constants.pk_cyanurate([5.0, 40.0], fixed)
    assert at["H3Cy"].tolist() == [6.88, 6.88]
    assert at["mono"].tolist() == [5.62, 5.62]
    assert constants.pk_hocl([5.0, 40.0], fixed).tolist() == [7.54, 7.54]


def test_the_polynomials_of_the_solver_follow_the_correlations_to_a_billionth() -> None:
    t = np.linspace(0.0, 50.0, 301)
    totals = np.ones((len(COMPONENTS), t.size))
    for choice in (DEFAULT, REFERENCE_2024, replace(DEFAULT, pk_hobr_25=8.8, sodium_pairs=False)):
        fitted = conditional(t, totals, choice)
        outside = conditional(np.append(t, 60.0), np.ones((len(COMPONENTS), t.size + 1)), choice)
        assert np.abs(fitted.ln_k - outside.ln_k[:, :-1]).max() < 3e-9
        assert np.abs(fitted.a - outside.a[:-1]).max() < 1e-9


def test_every_public_name_of_the_constants_exists() -> None:
    assert all(hasattr(constants, name) for name in constants.__all__)
