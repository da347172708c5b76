"""Heat of a motor: cooling of its case by the air, and temperatures of its winding.

Winding and case are two nodes, with air around:
C_w T_w' = P_w − (T_w − T_c)/R_wc,  C_c T_c' = (T_w − T_c)/R_wc − (T_c − T_air)/R_ca. The winding's loss rises with its
temperature as copper's resistance does: P_w = idle + copper·(1 + α(T_w − 20 °C)). The system is linear and solved in
closed form. R_ca is given, or follows from the surfaces of motor, hub and fins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.stage import Heat, Wheel
from stager.physics.air import SEA_LEVEL, SEA_LEVEL_TEMPERATURE, Air, reynolds
from stager.physics.motor import COPPER_COEFFICIENT, REFERENCE, Drivetrain, Holding
from stager.physics.rate import Settled

LAMINAR = 0.326
"""Nu/Re^½ of one face of a rotating disc in air, length R [-]; von Kármán's flow at Prandtl number 0.71, exact."""
TURBULENT = 0.015
"""Nu/Re^0.8 of the same in turbulent flow, mean over the face [-]; Dorfman, as read in an open thermal model of a
motor."""
TRANSITION = 2.4e5
"""Reynolds number ωR²/ν at which its boundary layer becomes turbulent [-]; Cobb & Saunders, as read in the same."""
FREE_CONVECTION = 5.0
"""Film coefficient of free convection from a body at rest [W/(m^2 K)]: a plate of 60 mm, 10 to 20 K above the air, by
Churchill's correlation."""
MOTOR_FILM = 10.0
"""Film coefficient of a motor's case of 28 mm, 40 K above the air [W/(m^2 K)]: Churchill & Chu's correlation, and
radiation at an emissivity of one half."""


def disc_nusselt(number: Number) -> Floats:
    """Return the mean Nusselt number hR/λ [-] of one face at Reynolds number `number` = ωR²/ν [-].

    Above the transition a laminar core stays; its share of the heat goes with r² h, that is with Re^½ of the core.
    """
    number = np.asarray(number, dtype=np.float64)
    excess = TURBULENT * TRANSITION**0.8 - LAMINAR * TRANSITION**0.5
    mixed = TURBULENT * number**0.8 - excess * np.sqrt(TRANSITION / np.maximum(number, 1e-9))
    return np.where(number < TRANSITION, LAMINAR * np.sqrt(number), mixed)


def disc_film(radius: Number, angular_speed: Number, air: Air) -> Floats:
    """Return the film coefficient of a rotating disc's face [W/(m^2 K)]: radius [m], angular_speed [rad/s].

    At least that of free convection.
    """
    nusselt = disc_nusselt(reynolds(radius, angular_speed, air))
    return np.maximum(nusselt * air.conductivity / radius, FREE_CONVECTION)


def annular_efficiency(inner: Number, outer: Number, thickness: Number, conductivity: Number, film: Number) -> Floats:
    """Return the efficiency of an annular fin of constant thickness with an insulated tip [-].

    inner, outer: radii [m]; thickness [m]; conductivity [W/(m K)]; film [W/(m^2 K)].

    2a/(m(b² − a²))·[K₁(ma)I₁(mb) − I₁(ma)K₁(mb)]/[I₀(ma)K₁(mb) + K₀(ma)I₁(mb)] (Gardner 1945; Incropera, ch. 3).
    Scaled Bessel functions keep long thin fins from overflow.
    """
    from scipy.special import i0e, i1e, k0e, k1e

    slope = np.sqrt(2 * film / (conductivity * thickness))
    root, tip = slope * inner, slope * outer
    away = np.exp(-2 * (tip - root))
    above = k1e(root) * i1e(tip) - i1e(root) * k1e(tip) * away
    below = i0e(root) * k1e(tip) * away + k0e(root) * i1e(tip)
    return np.asarray(2 * inner / (slope * (outer**2 - inner**2)) * above / below)


LEAST_ROOT = 0.1
"""Least inner radius of a fin, by its outer radius [-]: for a wheel without a bore."""
CASE_HEAT = 2.5e6
"""Heat capacity of a motor's case per volume [J/(m^3 K)]: seven tenths of steel or copper (3.5e6, 3.4e6; DIN EN 12524,
as kept by the library ht), the rest gaps, an estimate."""


def case_to_air(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the thermal resistance from case to air at `angular_speed` [rad/s] [K/W]: given, or that of all surfaces.

    These are the motor's own, the hub of the wheel on its shaft, and fins, which are rings around the axis from the
    bore outward. Shapes broadcast.
    """
    if heat.case_to_air is not None:
        return np.asarray(heat.case_to_air + 0.0 * np.asarray(angular_speed))
    fins = fin_conductance(heat, wheel, angular_speed, air)
    return 1 / (motor_conductance(heat) + hub_conductance(wheel, angular_speed, air) + fins)


def motor_conductance(heat: Heat) -> Floats:
    """Return the conductance of the motor's surface [W/K]: a cylinder as long as wide, of its heat capacity."""
    diameter = np.cbrt(4 * np.asarray(heat.case_capacity) / (np.pi * CASE_HEAT))
    return np.asarray(MOTOR_FILM * 1.5 * np.pi * diameter**2)


def hub_conductance(wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the conductance from the wheel's hub to the air at `angular_speed` [rad/s] [W/K].

    The hub is an annular fin of the wheel's width around the shaft (Incropera). 0 where width or conductivity is
    unknown.
    """
    if wheel.material is None or wheel.material.conductivity is None or wheel.width is None:
        return 0.0 * np.asarray(angular_speed)
    outer = wheel.hub_radius
    inner = np.maximum(wheel.bore / 2, LEAST_ROOT * outer)
    film = disc_film(outer, angular_speed, air)
    efficiency = annular_efficiency(inner, outer, wheel.width, wheel.material.conductivity, film)
    return np.asarray(2 * np.pi * (outer**2 - inner**2) * efficiency * film)


def fin_conductance(heat: Heat, wheel: Wheel, angular_speed: Number, air: Air = SEA_LEVEL) -> Floats:
    """Return the conductance from fins to the air at `angular_speed` [rad/s] [W/K]; 0 without fins."""
    given = (heat.fin_count, heat.fin_diameter, heat.fin_thickness, heat.fin_conductivity)
    if any(value is None for value in given):
        return 0.0 * np.asarray(angular_speed)
    count, diameter, thickness, conductivity = (np.asarray(value, dtype=np.float64) for value in given)
    outer = diameter / 2
    inner = np.maximum(wheel.bore / 2, LEAST_ROOT * outer)
    film = disc_film(outer, angular_speed, air)
    efficiency = annular_efficiency(inner, outer, thickness, conductivity, film)
    return np.asarray(count * 2 * np.pi * (outer**2 - inner**2) * efficiency * film)


MAX_EXPONENT = 600.0
"""Cap on the exponent of a winding in thermal runaway [-]: keeps exp finite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """Thermal network of a motor; shapes broadcast.

    winding_capacity, case_capacity: heat capacities [J/K]; winding_to_case, case_to_air: resistances [K/W]; air:
    temperature [K]
    """

    winding_capacity: Number
    case_capacity: Number
    winding_to_case: Number
    case_to_air: Number
    air: Number = SEA_LEVEL_TEMPERATURE


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Mean losses in the winding [W]: copper at 20 degC, and idle, which is independent of temperature."""

    copper: Number
    idle: Number


def steady(network: Network, loss: Loss) -> tuple[Floats, Floats]:
    """Return the final temperatures of winding and case [K]; inf in thermal runaway."""
    through = network.winding_to_case + network.case_to_air
    gain = COPPER_COEFFICIENT * loss.copper * through
    cold = loss.idle + loss.copper * (1 + COPPER_COEFFICIENT * (network.air - REFERENCE))
    with np.errstate(divide="ignore"):
        rise = np.where(gain < 1, cold * through / np.where(gain < 1, 1 - gain, 1.0), np.inf)
    return network.air + rise, network.air + rise * network.case_to_air / through


def after(network: Network, loss: Loss, time: Number, start: tuple[Number, Number] | None = None) -> Floats:
    """Return the winding temperature [K] after `time` [s] at a constant loss.

    start: temperatures of winding and case [K]; None: both that of the air.
    """
    first = (network.air, network.air) if start is None else start
    to_case = 1 / network.winding_to_case
    a = (COPPER_COEFFICIENT * loss.copper - to_case) / network.winding_capacity
    b = to_case / network.winding_capacity
    c = to_case / network.case_capacity
    d = -(to_case + 1 / network.case_to_air) / network.case_capacity
    cold = loss.idle + loss.copper * (1 + COPPER_COEFFICIENT * (network.air - REFERENCE))
    drive = cold / network.winding_capacity
    middle, spread = (a + d) / 2, np.sqrt(((a - d) / 2) ** 2 + b * c)
    fast = middle - spread
    slow = (a * d - b * c) / fast  # middle + spread would cancel
    winding, case = (value - network.air for value in first)
    speed = a * winding + b * case + drive
    return network.air + _response(winding, speed, -d * drive, fast, slow, time)


def _response(value: Number, speed: Number, push: Number, fast: Number, slow: Number, time: Number) -> Floats:
    """Return x(t) of x'' − (fast + slow)x' + fast·slow·x = push with x(0) = value, x'(0) = speed."""
    product = fast * slow
    settles = np.where(product != 0, push / np.where(product != 0, product, 1.0), 0.0)
    gap = value - settles
    quick = (speed - slow * gap) / (fast - slow)
    growth = np.exp(np.minimum(slow * time, MAX_EXPONENT))
    return np.asarray(settles + quick * np.exp(fast * time) + (gap - quick) * growth)


def time_to(network: Network, loss: Loss, limit: Number) -> Floats:
    """Return the time from cold until the winding has `limit` [K] at a constant loss [s]; inf: never."""
    top, _ = steady(network, loss)
    reached = top > limit
    low, high = np.full(np.shape(reached), -3.0), np.full(np.shape(reached), 8.0)
    for _ in range(60):
        middle = (low + high) / 2
        hot = after(network, loss, np.minimum(10.0**middle, 1e8)) >= limit
        low, high = np.where(hot, low, middle), np.where(hot, middle, high)
    return np.where(reached, 10.0**high, np.inf)


def throwing_share(network: Network, throwing: Loss, resting: Loss, limit: Number) -> Floats:
    """Return the greatest share of the time spent throwing [-] at which the final winding temperature is `limit` [K].

    1 where it stays below while throwing all the time; 0 where it exceeds the limit at rest.
    """
    warm = 1 + COPPER_COEFFICIENT * (limit - REFERENCE)
    allowed = (limit - network.air) / (network.winding_to_case + network.case_to_air)
    hot, cool = throwing.idle + throwing.copper * warm, resting.idle + resting.copper * warm
    share = (allowed - cool) / np.where(hot > cool, hot - cool, 1.0)
    return np.where(hot > cool, np.clip(share, 0.0, 1.0), np.where(allowed >= cool, 1.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Windings:
    """Windings of the motors whose thermal data are known, on the last axis.

    stage: of each motor; column: its column in the drivetrain
    loss: while throwing; resting: while its wheel is held
    """

    stage: tuple[int, ...]
    column: tuple[int, ...]
    network: Network
    loss: Loss
    resting: Loss

    def temperature(self, time: Number | None = None) -> Floats:
        """Return winding temperatures [K], (..., motors), `time` [s] after a cold start, (...); None: final ones."""
        if time is None:
            return steady(self.network, self.loss)[0]
        return after(self.network, self.loss, np.asarray(time)[..., None])


def holding_loss(train: Drivetrain, holding: Holding) -> Loss:
    """Return the loss of each motor while its wheel is held at its speed [W], shape (..., wheels)."""
    return Loss(
        copper=train.resistance * holding.current**2,
        idle=train.pull * train.idle_current * holding.angular_speed,
    )


def throwing_loss(settled: Settled) -> Loss:
    """Return the mean loss of each motor while throwing at the settled rate [W], shape (..., wheels)."""
    rate = np.asarray(settled.rate)[..., None]
    return Loss(copper=settled.energies.copper * rate, idle=settled.energies.no_load * rate)


def windings(
    launcher: Launcher, train: Drivetrain, holding: Holding, settled: Settled | None,
    air: Number = SEA_LEVEL_TEMPERATURE,
) -> Windings | None:  # fmt: skip
    """Return the windings of `train` at the losses of `settled` (None: only held); None where no data are known.

    air: temperature [K].
    """
    heats = [_heat(launcher, stage) for stage in train.stage]
    known = [column for column, heat in enumerate(heats) if heat is not None]
    if not known:
        return None
    resting = _pick(holding_loss(train, holding), known)
    stages = [launcher.stage(train.stage[column]) for column in known]
    chosen = [heat for heat in heats if heat is not None]
    films = [
        case_to_air(heat, stage.wheel, holding.angular_speed[..., column])
        for heat, stage, column in zip(chosen, stages, known, strict=True)
    ]
    network = Network(
        winding_capacity=_row([heat.winding_capacity for heat in chosen]),
        case_capacity=_row([heat.case_capacity for heat in chosen]),
        winding_to_case=_row([heat.winding_to_case for heat in chosen]),
        case_to_air=_row(films), air=air,
    )  # fmt: skip
    return Windings(
        stage=tuple(train.stage[column] for column in known), column=tuple(known), network=network, resting=resting,
        loss=resting if settled is None else _pick(throwing_loss(settled), known),
    )  # fmt: skip


def _heat(launcher: Launcher, stage: int) -> Heat | None:
    drive = launcher.stage(stage).drive
    return None if drive is None else drive.heat


def _pick(loss: Loss, columns: list[int]) -> Loss:
    return Loss(copper=np.asarray(loss.copper)[..., columns], idle=np.asarray(loss.idle)[..., columns])


def _row(values: list[Number] | list[Floats]) -> Floats:
    return np.stack(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)), axis=-1)
