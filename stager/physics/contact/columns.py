"""What stands where in the kernel's arrays. SI units; a side is 2·stage (A) or 2·stage + 1 (B)."""

from __future__ import annotations

# Layouts
PAIR, RAIL, IDLER = 0, 1, 2

# BODY: projectile, contact and guide.
(
    MASS, HALF_WIDTH, SPIN_INERTIA, ROD_LENGTH, STIFFNESS, EXPONENT, REBOUND, CREEP, SLOWING, AIR_DRAG,
) = range(10)  # fmt: skip
"""SPIN_INERTIA: 0 where it cannot roll; ROD_LENGTH: below 0 for round shapes; SLOWING: 2 μ g of the guide [m/s^2];
AIR_DRAG: ρ c A/m [1/m]."""
BODY = 10

# HOW: accuracy of an integration.
TOLERANCE, STEPS, BOOKS = range(3)
"""Local error [-]; number of equal steps in a smooth piece, 0 for error control; whether energies are summed, 0 or 1.

In an array, as literals would make the compiler compile all anew for each."""

# STAGE: one stage as it is built.
(
    LAYOUT, WHEEL_RADIUS, REST_DEPTH, GROWTH, INVERSE_INERTIA, IDLER_INVERSE, PITCH, MOTOR_SLOPE, PULL, IDLE_CURRENT,
    CURRENT_LIMIT, AIR_LAMINAR, AIR_TURBULENT, AIR_CORE, AIR_TRANSITION,
) = range(15)  # fmt: skip
"""REST_DEPTH: crush of the wheel's side at rest [m]; GROWTH: radial growth by surface speed squared [s^2/m]; PITCH: to
the next stage's axes [m]; MOTOR_SLOPE: torque by surface speed lost [N s], 0 without a drive; PULL: torque by current
[N m/A]; AIR_*: windage as in `stager.physics.air.Disc`."""
STAGE = 15

# NIP: one stage within one throw; the first columns are its record, in the order of `stager.physics.records.Transit`.
(
    SPEED_A, SPEED_B, ENTRY, EXIT, SPIN_IN, SPIN_OUT, AFTER_A, AFTER_B, SLIP_OUT, LEAST_SLIP, GRIP, DURATION, WORK_A,
    WORK_B, HEAT_A, HEAT_B, CRUSH_LOSS, MOTOR_WORK, ACCELERATION, SLIP_POWER,
) = range(20)  # fmt: skip
RECORD = 20
(
    AXIS, REACH, HEIGHT, DEPTH, RAMP, LENGTH, ROLLING, NIP_STIFFNESS, NIP_EXPONENT, NIP_REBOUND, NORMALS, NIP_LAYOUT,
    LOW_SLIP, HIGH_SLIP, STEP_POWER, EVEN,
) = range(20, 36)  # fmt: skip
"""AXIS: place of the axes along the barrel [m]; REACH: R + r with growth, HEIGHT: distance of the axis from the line of
the projectile's centre [m], 0 for a rod; RAMP: half the contact of a round shape, the ramp of a rod [m]; LENGTH: of a
rod, 0 for round shapes; ROLLING: rolling loss of one side as a force [N]; NORMALS: how many push along the barrel;
EVEN: 1 while both sides are alike; ACCELERATION holds the greatest force [N] until the contact is over."""
NIP = 36

# SIDE: one side of a nip within one throw.
(
    RADIUS, GAIN, BRAKE, TURN, HELD, TORQUE_SLOPE, TORQUE_LOW, TORQUE_HIGH, START, SPEED, WORK, HEAT, WHEEL, COSINE,
    SLIP, FORCE, RATE, STEEP, COUPLING, MOTOR_STEEP, FORCE_DRIFT, SLIP_DRIFT, RATE_DRIFT, START_SLIP, START_FORCE,
    START_RATE, DAMPING, WHEEL_GAIN, BY_SPEED, SHARE, SHARE_COUPLING, TO_SPEED, TO_SPIN, PULLED, KNOWN, OFFSET,
    WORK_SUM, HEAT_SUM, FORCE_SUM, STEP_WORK, STEP_HEAT, FRESH, PART,
) = range(43)  # fmt: skip
"""GAIN R/J, BRAKE −R²/J; TURN: +1 where forward friction spins the projectile forward, −1 opposite; HELD: speed that
the throttle would hold; START: set speed, SPEED: now [m/s]; WORK, HEAT: so far [J]; the rest belongs to one step, from
PART on the increments of its stages."""
SIDE = 43 + 6
