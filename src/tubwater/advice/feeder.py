"""The feeder: how many tablets, and how far open."""

from __future__ import annotations

from dataclasses import replace

from tubwater.advice.decide import Decision, Kit
from tubwater.advice.measures import amount_of
from tubwater.advice.now import substance_of
from tubwater.advice.timeline import Timeline
from tubwater.tub import Reason, Step, StepKind

__all__ = ["set_feeder"]


def set_feeder(line: Timeline, kit: Kit, decision: Decision) -> None:
    """Writes the feeder's setting down, once the last addition has mixed."""
    tablet = kit.tablet
    if tablet is None:
        return
    tablets = round(decision.levers["tablet_grams"] / kit.tablet_grams)
    line.settle()
    amount = amount_of(tablet, tablets * kit.tablet_grams)
    step = Step(
        StepKind.SET_FEEDER,
        amount=replace(amount, count=float(tablets), measure="tablet"),
        minutes=3.0,
        tablets=float(tablets),
        opening=decision.levers["opening"] if tablets else 0.0,
        reasons=(Reason("feeder-holds"),),
        cautions=substance_of(tablet).cautions,
    )
    line.add(step)
