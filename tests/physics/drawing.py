"""Hypothesis strategies for launchers: a form that a batch shares, and drawn numbers for each of its samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from hypothesis import strategies as st

from stager.model.arrays import Floats, Number
from stager.model.launcher import Contact, Feed, FrictionLaw, Guide, Launcher
from stager.model.projectile import BALL, DISC, HOLLOW_BALL, RING, ROD, Projectile, Shape
from stager.model.stage import Drive, Layout, Stage, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.friction import Bell, Constant, Falling, Rising, Tabulated

SAMPLES = 8
ROUND = (DISC, RING, BALL, HOLLOW_BALL)
GUIDES = ("none", "friction", "drag", "friction and drag")
Values = Mapping[str, Number]

RANGES: dict[str, tuple[float, float]] = {
    "mass": (3e-3, 0.15), "diameter": (0.02, 0.08), "length": (0.02, 0.12), "feed": (0.3, 4.0),
    "exponent": (1.0, 2.0), "rebound": (0.3, 1.0), "creep": (0.02, 0.5), "force": (5.0, 200.0),
    "static": (0.3, 1.2), "share": (0.2, 1.0), "fade": (1.0, 20.0), "fade_exponent": (1.0, 2.0),
    "peak_speed": (0.1, 10.0), "width": (0.8, 3.0), "spin": (1.0, 60.0), "guide": (0.02, 0.5),
    "stiffening": (1e-4, 0.03),
}  # fmt: skip
STAGE_RANGES: dict[str, tuple[float, float]] = {
    "radius": (0.02, 0.06), "crush": (0.02, 0.15), "inertia": (0.3, 300.0), "idler": (0.05, 10.0),
    "speed": (2.0, 35.0), "ratio": (0.5, 1.0), "clearance": (1e-3, 0.03), "pitch": (0.4, 1.2),
    "kv": (50.0, 300.0), "resistance": (0.02, 0.5), "idle": (0.2, 3.0), "limit": (5.0, 60.0),
    "rotor": (1e-8, 1e-5), "gear": (0.5, 3.0), "depth": (1e-3, 5e-3), "modulus": (2e6, 1e7),
}  # fmt: skip
"""Lowest and highest value in SI units; drawn uniformly in the logarithm. crush: share of the diameter; inertia, idler:
J/(m R²); pitch: share of the sum of both radii, so that contacts overlap but keep their order."""


@dataclass(frozen=True)
class Form:
    """What all samples of a batch share."""

    shape: Shape
    layouts: tuple[Layout, ...]
    law: str
    driven: bool
    tyred: bool
    two_speeds: bool
    close: bool
    guided: str


@dataclass(frozen=True)
class Batch:
    """A form and its numbers, each of shape (samples,)."""

    form: Form
    values: Mapping[str, Floats]

    @property
    def launcher(self) -> Launcher:
        return launcher(self.form, self.values)

    @property
    def spin(self) -> Floats:
        return np.zeros(SAMPLES) if self.form.shape is ROD else self.values["spin"] * np.array([-1, 0, 0, 1] * 2)

    def speeds(self, side: str) -> Floats:
        """Return the wheel speeds [m/s] of a side, shape (samples, stages)."""
        stages = range(len(self.form.layouts))
        slower = [self.values[f"ratio{k}"] if side == "b" and self.form.two_speeds else 1.0 for k in stages]
        return np.stack([self.values[f"speed{k}"] * slower[k] for k in stages], axis=-1)

    def sample(self, i: int) -> Launcher:
        return launcher(self.form, {key: float(value[i]) for key, value in self.values.items()})


def friction(form: Form, values: Values) -> FrictionLaw:
    peak, share, fade = values["static"], values["share"], values["fade"]
    if form.law == "constant":
        return Constant(peak)
    if form.law == "falling":
        return Falling(peak, peak * share, fade, values["fade_exponent"])
    if form.law == "bell":
        return Bell(peak, values["peak_speed"], values["width"])
    if form.law == "rising":
        return Rising(peak * share, peak, fade)
    return Tabulated((0.0, 0.5, 2.0, 6.0, 15.0), (0.5, 0.9, 0.75, 0.4, 0.3))


def wheel(form: Form, values: Values, k: int) -> Wheel:
    radius = values[f"radius{k}"]
    inertia = values[f"inertia{k}"] * values["mass"] * radius**2
    if not form.tyred:
        return Wheel(radius=radius, inertia=inertia)
    rubber = TyreMaterial(name="rubber", density=1200.0, modulus=values[f"modulus{k}"])
    plastic = WheelMaterial(name="plastic", density=1250.0, modulus=2.5e9, poisson=0.36)
    tyre = Tyre(material=rubber, depth=values[f"depth{k}"])
    return Wheel(radius=radius, inertia=inertia, material=plastic, bore=0.006, width=0.02, tyre=tyre)


def drive(form: Form, values: Values, k: int) -> Drive | None:
    if not form.driven:
        return None
    return Drive(
        speed_constant=values[f"kv{k}"], resistance=values[f"resistance{k}"], no_load_current=values[f"idle{k}"],
        current_limit=values[f"limit{k}"], rotor_inertia=values[f"rotor{k}"], gear=values[f"gear{k}"],
    )  # fmt: skip


def stage(form: Form, values: Values, k: int) -> Stage:
    radii = values[f"radius{k}"] + values[f"radius{min(k + 1, len(form.layouts) - 1)}"]
    return Stage(
        layout=form.layouts[k], wheel=wheel(form, values, k), crush=values[f"crush{k}"] * values["diameter"],
        drive=drive(form, values, k), clearance=values[f"clearance{k}"],
        pitch=values[f"pitch{k}"] * radii if form.close else None,
        idler_inertia=values[f"idler{k}"] * values["mass"] * values[f"radius{k}"] ** 2,
    )  # fmt: skip


def launcher(form: Form, values: Values) -> Launcher:
    """Return the launcher; its stiffness gives the drawn normal force at the first axis plane, without wheel growth."""
    stages = tuple(stage(form, values, k) for k in range(len(form.layouts)))
    crush = stages[0].crush * form.layouts[0].crush_share
    law = friction(form, values)
    guides = {"none": None, "friction": Guide(friction=values["guide"]), "drag": Guide(air_drag=True)}
    guides["friction and drag"] = Guide(friction=values["guide"], air_drag=True)
    return Launcher(
        projectile=Projectile(
            shape=form.shape, mass=values["mass"], diameter=values["diameter"],
            length=values["length"] if form.shape is ROD else None, thickness=0.3 * values["diameter"],
        ),
        feed=Feed(speed=values["feed"]),
        contact=Contact(
            stiffness=values["force"] / crush ** values["exponent"], exponent=values["exponent"],
            rebound=values["rebound"], creep=values["creep"], friction=law, stiffening=values.get("stiffening", 0.0),
            rail_friction=Constant(0.6) if form.law == "tabulated" else law,
        ),
        template=stages[-1], stages=stages, guide=guides[form.guided],
    )  # fmt: skip


@st.composite
def batches(draw: Any, shapes: tuple[Shape, ...], layouts: tuple[Layout, ...], most_stages: int = 4) -> Batch:
    """Draw a batch of SAMPLES launchers of up to `most_stages` stages with layouts among `layouts`."""
    stages = draw(st.lists(st.sampled_from(layouts), min_size=1, max_size=most_stages))
    laws = st.sampled_from(("falling", "constant", "bell", "tabulated", "rising"))
    form = Form(
        draw(st.sampled_from(shapes)), tuple(stages), draw(laws), draw(st.booleans()), draw(st.booleans()),
        draw(st.booleans()), draw(st.booleans()), draw(st.sampled_from(GUIDES)),
    )  # fmt: skip
    units = st.lists(st.floats(0.0, 1.0, width=16), min_size=SAMPLES, max_size=SAMPLES)
    wanted = dict(RANGES)
    for k in range(len(stages)):
        wanted |= {f"{key}{k}": bounds for key, bounds in STAGE_RANGES.items()}
    values = {}
    for key, (low, high) in wanted.items():
        values[key] = low * (high / low) ** np.array(draw(units))
    return Batch(form, values)
