"""The questions of a face, asked of a keeper's file."""

from __future__ import annotations

from datetime import datetime

from tubwater.advice import About, Wishes
from tubwater.services.advise import WaterReport, plan_for, verdict_for, water_for
from tubwater.services.tubfile import TubFile
from tubwater.tub import Plan, Verdict

__all__ = ["plan_of_file", "verdict_of_file", "water_of_file"]


def plan_of_file(file: TubFile, now: datetime, seed: int = 0, about: About | None = None) -> Plan:
    """What to do at ``now`` (aware datetime), on the usual visit or about something else."""
    visit = file.visit
    wishes = Wishes(visit.minutes, visit.days_until_next, visit.later_by, visit.guests_at, visit.occasion, about)
    return plan_for(file.tub, file.shelf, file.events, now, wishes, seed)


def verdict_of_file(file: TubFile, now: datetime, seed: int = 0) -> Verdict:
    """May people get in at ``now`` (aware datetime)?"""
    return verdict_for(file.tub, file.shelf, file.events, now, seed)


def water_of_file(file: TubFile, now: datetime, seed: int = 0) -> WaterReport:
    """What the water is at ``now`` (aware datetime)."""
    return water_for(file.tub, file.shelf, file.events, now, seed)
