"""Single things about a launcher that can differ or be wrong, each as a factor on what the configuration says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from stager.model.arrays import Number
from stager.model.launcher import Contact, Launcher, Measuring
from stager.model.stage import Stage

Change = Callable[[Launcher, Number], Launcher]
TYPICAL = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Perturbation:
    """name; words: how a sentence calls it; change(launcher, factor); there: whether this launcher has it;
    keys: places in the configuration whose uncertainty it stands for; whole: it may differ from build to build."""

    name: str
    words: str
    change: Change
    there: Callable[[Launcher], bool]
    keys: tuple[str, ...]
    whole: bool = True


def _contact(change: Callable[[Contact, Number], Contact]) -> Change:
    return lambda launcher, factor: replace(launcher, contact=change(launcher.contact, factor))


def _friction(contact: Contact, factor: Number) -> Contact:
    shared = contact.rail_friction is contact.friction
    scaled = contact.friction.scaled(factor)
    return replace(contact, friction=scaled, rail_friction=scaled if shared else contact.rail_friction)


def _field(name: str) -> Callable[[Contact, Number], Contact]:
    """Scale one number of the wheel's friction law."""

    def change(contact: Contact, factor: Number) -> Contact:
        shared = contact.rail_friction is contact.friction
        law = replace(contact.friction, **{name: getattr(contact.friction, name) * factor})  # type: ignore[type-var]
        return replace(contact, friction=law, rail_friction=law if shared else contact.rail_friction)

    return change


def _has_field(name: str) -> Callable[[Launcher], bool]:
    return lambda launcher: name in {field.name for field in fields(launcher.contact.friction)}  # type: ignore[arg-type]


def _stages(change: Callable[[Stage, Number], Stage]) -> Change:
    def all_of(launcher: Launcher, factor: Number) -> Launcher:
        template = change(launcher.template, factor)
        return replace(launcher, template=template, stages=tuple(change(stage, factor) for stage in launcher.stages))

    return all_of


def _softer_tyre(stage: Stage, factor: Number) -> Stage:
    """More growth: a modulus that is lower by the factor."""
    tyre = stage.wheel.tyre
    if tyre is None:
        return stage
    material = replace(tyre.material, modulus=tyre.material.modulus / factor)
    return replace(stage, wheel=replace(stage.wheel, tyre=replace(tyre, material=material)))


def _voltage(launcher: Launcher, factor: Number) -> Launcher:
    supply = launcher.supply
    return launcher if supply is None else replace(launcher, supply=replace(supply, voltage=supply.voltage * factor))


def _outlet(launcher: Launcher, factor: Number) -> Launcher:
    outlet = launcher.outlet
    return launcher if outlet is None else replace(launcher, outlet=replace(outlet, loss=outlet.loss * factor))


def _measuring(name: str) -> Change:
    """Scale one factor of the instruments."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        measuring = Measuring() if launcher.measuring is None else launcher.measuring
        return replace(launcher, measuring=replace(measuring, **{name: getattr(measuring, name) * factor}))

    return change


def _always(launcher: Launcher) -> bool:
    return True


def _has_rail(launcher: Launcher) -> bool:
    """Friction of the rail is a thing of its own."""
    own = launcher.contact.rail_friction is not launcher.contact.friction
    return own and not launcher.template.layout.side_b_turns


def _has_tyre(launcher: Launcher) -> bool:
    return launcher.template.wheel.tyre is not None


_FRICTION = "contact.friction."
# Those that need the law's own numbers come first: `friction` hides them.
PERTURBATIONS = (
    Perturbation(
        name="fade", words="fade speed", there=_has_field("fade_speed"), change=_contact(_field("fade_speed")),
        keys=(_FRICTION + "fade_speed",), whole=False,
    ),
    Perturbation(
        name="sliding", words="sliding friction", there=_has_field("sliding"), change=_contact(_field("sliding")),
        keys=(_FRICTION + "sliding",), whole=False,
    ),
    Perturbation(
        name="stiffness", words="stiffness of the contact", there=_always, keys=("contact.stiffness",),
        change=_contact(lambda c, f: replace(c, stiffness=c.stiffness * f)),
    ),
    Perturbation(
        name="friction", words="friction", there=_always, change=_contact(_friction),
        keys=tuple(_FRICTION + name for name in ("coefficient", "static", "peak")),
    ),
    Perturbation(
        name="crush", words="crush", there=_always, keys=("stage.crush",),
        change=_stages(lambda s, f: replace(s, crush=s.crush * f)),
    ),
    Perturbation(
        name="feed", words="feed speed", there=_always, keys=("feed.speed",),
        change=lambda launcher, f: replace(launcher, feed=replace(launcher.feed, speed=launcher.feed.speed * f)),
    ),
    Perturbation(
        name="mass", words="mass of the projectile", there=_always, keys=("projectile.mass",),
        change=lambda launcher, f: replace(
            launcher, projectile=replace(launcher.projectile, mass=launcher.projectile.mass * f)
        ),
    ),
    Perturbation(
        name="supply", words="voltage of the supply", keys=("supply.voltage",), change=_voltage,
        there=lambda launcher: launcher.supply is not None,
    ),
    Perturbation(
        name="rebound", words="rebound", there=_always, keys=("contact.rebound",),
        change=_contact(lambda c, f: replace(c, rebound=np.minimum(c.rebound / f, 1.0))), whole=False,
    ),
    Perturbation(
        name="exponent", words="exponent of the contact", there=_always, keys=("contact.exponent",), whole=False,
        change=_contact(lambda c, f: replace(c, exponent=c.exponent * f)),
    ),
    Perturbation(
        name="growth", words="growth of the tyre", there=_has_tyre, change=_stages(_softer_tyre), whole=False,
        keys=("stage.wheel.tyre.modulus", "stage.wheel.tyre.hardness"),
    ),
    Perturbation(
        name="creep", words="creep speed", there=_always, keys=("contact.creep",), whole=False,
        change=_contact(lambda c, f: replace(c, creep=c.creep * f)),
    ),
    Perturbation(
        name="outlet", words="energy that the outlet takes", keys=("outlet.loss",), whole=False,
        there=lambda launcher: launcher.outlet is not None, change=_outlet,
    ),
    Perturbation(
        name="radius", words="radius of the wheels", there=_always, keys=("stage.wheel.radius",), whole=False,
        change=_stages(lambda s, f: replace(s, wheel=replace(s.wheel, radius=s.wheel.radius * f))),
    ),
    Perturbation(
        name="tachometer", words="true over indicated wheel speed", there=_always, whole=False,
        keys=("measuring.wheel_speed",), change=_measuring("wheel_speed"),
    ),
    Perturbation(
        name="chronograph", words="true over indicated exit speed", there=_always, whole=False,
        keys=("measuring.exit_speed",), change=_measuring("exit_speed"),
    ),
    Perturbation(
        name="rail", words="friction of the rail", there=_has_rail, whole=False,
        keys=tuple("contact.rail_friction." + name for name in ("coefficient", "static", "peak")),
        change=_contact(lambda c, f: replace(c, rail_friction=c.rail_friction.scaled(f))),
    ),
)  # fmt: skip
