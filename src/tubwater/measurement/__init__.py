"""From a reading and its method to a likelihood."""

from tubwater.measurement.likelihood import (
    CL2_TO_BR2,
    Bin,
    ReadingContext,
    bin_of,
    blunder_probability,
    distinguishes,
    log_likelihood,
    method_problem,
    reading_problem,
    sd_of,
    standard_value,
    suffers,
)

__all__ = [
    "CL2_TO_BR2",
    "Bin",
    "ReadingContext",
    "bin_of",
    "blunder_probability",
    "distinguishes",
    "log_likelihood",
    "method_problem",
    "reading_problem",
    "sd_of",
    "standard_value",
    "suffers",
]
