"""Columns of the kernel's arrays, in SI; row 2·stage of the sides is side A, 2·stage + 1 side B."""

from __future__ import annotations

# Layouts
PAIR, RAIL, IDLER = 0, 1, 2

# BODY: projectile, contact and guide.
(
    MASS, HALF_WIDTH, SPIN_INERTIA, ROD_LENGTH, STIFFNESS, EXPONENT, REBOUND, CREEP, SLOWING, AIR_DRAG,
    STIFFENING, PUSH, PUSH_END,
) = range(13)  # fmt: skip
"""SPIN_INERTIA: 0 for a rod; ROD_LENGTH: below 0 for round shapes; SLOWING: 2 μ g of the guide [m/s^2];
AIR_DRAG: ρ c A/m [1/m]; STIFFENING: relative rise of the stiffness with wheel speed [s/m]; PUSH: force from behind [N]
on a projectile whose place, as `press` takes it, is less than PUSH_END [m] beyond the first axes."""

# OPTIONS: accuracy of an integration.
TOLERANCE, STEPS, SUM_ENERGIES = range(3)
"""Local error [-]; number of equal steps in a piece, 0 for error control; 1 where energies are summed, else 0.

They are in an array since each literal argument would make the compiler compile another copy."""

# STAGE: one stage.
(
    LAYOUT, WHEEL_RADIUS, REST_DEPTH, GROWTH, INVERSE_INERTIA, IDLER_INVERSE, PITCH, MOTOR_SLOPE, PULL, IDLE_CURRENT,
    CURRENT_LIMIT, AIR_LAMINAR, AIR_TURBULENT, AIR_CORE, AIR_TRANSITION,
) = range(15)  # fmt: skip
"""REST_DEPTH: crush of the wheel's side at rest [m]; GROWTH: radial growth by surface speed squared [s^2/m]; PITCH: to
the next stage's axes [m]; MOTOR_SLOPE: torque per loss of speed [N s], 0 without a drive; PULL: torque per current
[N m/A]; AIR_*: windage as in `stager.physics.air.Disc`."""

# NIP: one stage within one throw; the first RECORD columns are the fields of `stager.physics.records.Transit`.
(
    SPEED_A, SPEED_B, ENTRY, EXIT, SPIN_IN, SPIN_OUT, AFTER_A, AFTER_B, SLIP_OUT, LEAST_SLIP, GRIP, DURATION, WORK_A,
    WORK_B, HEAT_A, HEAT_B, CRUSH_LOSS, ACCELERATION, IMPULSE_A, IMPULSE_B, SQUARE_A, SQUARE_B, TOP_A, TOP_B,
    LOW_A, LOW_B,
) = range(26)  # fmt: skip
RECORD = 26
(
    AXIS, REACH, HEIGHT, DEPTH, RAMP, LENGTH, ROLLING, NIP_STIFFNESS, NIP_EXPONENT, NIP_REBOUND, NORMALS, NIP_LAYOUT,
    LOW_SLIP, HIGH_SLIP, SYMMETRIC,
) = range(26, 41)  # fmt: skip
"""AXIS: place of the axes along the barrel [m]; REACH: R + r with growth, HEIGHT: distance of the axis from the line of
the projectile's centre [m], 0 for a rod; RAMP: half the contact of a round shape, the ramp of a rod [m]; LENGTH: of a
rod, 0 for round shapes; ROLLING: rolling loss of one side as a force [N]; NORMALS: normal forces that act along the
barrel; SYMMETRIC: 1 while both sides are alike; ACCELERATION: the greatest force [N] until the contact is over."""
NIP = 41

# SIDE: one side of a nip within one throw.
(
    RADIUS, GAIN, BRAKE, TURN, HELD, TORQUE_SLOPE, TORQUE_LOW, TORQUE_HIGH, START, SPEED, WORK, HEAT, WHEEL, COSINE,
    SLIP, FORCE, RATE, FORCE_BY_SLIP, COUPLING, TORQUE_BY_SPEED, FORCE_BY_PLACE, SLIP_BY_PLACE, RATE_BY_PLACE,
    START_SLIP, START_FORCE, START_RATE, DAMPING, WHEEL_GAIN, BY_SPEED, SHARE, SHARE_COUPLING, TO_SPEED, TO_SPIN,
    PULLED, KNOWN, OFFSET, WORK_SUM, HEAT_SUM, FORCE_SUM, STEP_WORK, STEP_HEAT, FRESH, IMPULSE, SQUARE, IMPULSE_SUM,
    SQUARE_SUM, STEP_IMPULSE, STEP_SQUARE, TOP, LOW, PART,
) = range(51)  # fmt: skip
"""GAIN: R/J; BRAKE: −R²/J; TURN: +1 where forward friction spins the projectile forward, else −1; HELD: speed that the
throttle would hold; START: set speed; SPEED: present speed; TOP, LOW: greatest and least speed up to now [m/s]; WORK,
HEAT: up to now [J]; IMPULSE, SQUARE: ∫τ dt [N m s] and ∫τ² dt [N^2 m^2 s] up to now of the motor's torque τ above that
which holds the set speed. All others belong to one step: *_BY_*: a derivative; START_*: at its start; PART: the first
of the increments of its six stages."""
SIDE = 51 + 6
