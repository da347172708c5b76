"""The spin that a goal asks for, where an answer is about something else."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stager.model.requirements import Goal
from stager.report.answer import Answer
from stager.report.digits import digits, speed

if TYPE_CHECKING:
    from stager.optimise.records import Plan

TURN = 2 * np.pi
ALIKE = (
    "Grip limits, settings and further stages are those of pairs whose wheels run alike: the spin that the goal asks "
    "for is left out here, plan sets it."
)


def left_out(answer: Answer, goal: Goal) -> Answer:
    """With a word that the spin is left out, where one is asked for."""
    if not goal.spin:
        return answer
    return _noted(replace(answer, document={**answer.document, "left_out": ["goal.spin"]}), ALIKE)


def compared(answer: Answer, goal: Goal) -> Answer:
    """A check with the spin that is reached beside the one asked for."""
    if not goal.spin:
        return answer
    thrown = answer.document["throw"]
    reached = "It jams" if thrown["jammed"] else f"It spins {said(thrown['spin_rad_s'])}"
    return _noted(answer, f"{reached}; the goal asks for {said(goal.spin)}.")


def at_spin(plan: Plan) -> list[str]:
    """What a ladder holds of."""
    return [] if plan.best is None or not plan.best.spin else [f"Every stage count leaves with {said(plan.best.spin)}."]


def planned(plan: Plan) -> list[str]:
    """How a plan makes its spin."""
    best = plan.best
    if best is None or not best.spin or best.count == 0:
        return []
    first = "Wheels as A:B, grip limits of the side that drives the spin forward"
    if best.count == 1:
        return [f"{first}."]
    apart = speed(abs(float(best.wheel_speed[-1] - best.beside[-1])))
    return [f"{first}: the first stage makes the spin, the others keep it with wheels {apart} m/s apart."]


def said(spin: float) -> str:
    """A spin [rad/s] in words."""
    return f"{digits(spin / TURN)} rev/s"


def _noted(answer: Answer, note: str) -> Answer:
    screen = answer.screen
    return answer if screen is None else replace(answer, screen=replace(screen, notes=[note, *screen.notes]))
