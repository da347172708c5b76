"""Indices of the arrays in which bounds are integrated. SI units."""

from __future__ import annotations

# BODY: values that all cells of a stage share.
(
    MASS, RATIO, WHEEL_MASS, MOTOR_SLOPE, STALL, INERTIA, ROLLS, NORMALS, HELD_NORMALS, OF_LEAD, OF_BAND, TURNING,
    LIGHT, STIFFNESS, EXPONENT, REBOUND, ROD_LENGTH,
) = range(17)  # fmt: skip
"""RATIO: κ; WHEEL_MASS: M [kg]; MOTOR_SLOPE, STALL: see `speed_limits.Motor`; INERTIA … OF_BAND: see
`single_driven.Coefficients`; TURNING, LIGHT: see `speed_limits.speed_ranges`; ROD_LENGTH [m], below 0 for round shapes.
"""
BODY = 17

# PRESS: the contact of one cell, for its least and its greatest wheel speed.
LEAST_REACH, MOST_REACH, HEIGHT = range(3)
"""Of round shapes: R + r with growth, and the distance of the axis from the line of the projectile's centre [m]."""
DEPTH, RADIUS, RAMP, ROLLING = 0, 2, 4, 6
"""Of rods, each the least and then the greatest: crush [m], R with growth [m], length of a ramp [m], rolling loss of a
side as a force [N]."""
PRESS = 8

# LANE: the state of one cell.
(
    SET_LOW, SET_HIGH, HOLD_LOW, HOLD_HIGH, STORED, SPIN_LOW, SPIN_HIGH, CRUSH, FASTEST, DIP, JAMS, STALLS, STRAIN,
    CROSSING, BARRIER_LOW, BARRIER_HIGH, SPENT,
) = range(17)  # fmt: skip
"""SET_LOW, SET_HIGH: least and greatest U [m/s]; HOLD_LOW, HOLD_HIGH: `Motor.holding` at them [N]; STORED: greatest
crush energy of a side [J]; SPIN_LOW, SPIN_HIGH, CRUSH: see `speed_limits.speed_ranges`; FASTEST: greatest v so far
[m/s]; DIP: sum of what v² would have fallen below 0 [m^2/s^2]; JAMS, STALLS: 1 where all throws, where some may stop;
STRAIN: least peak acceleration so far [m/s^2]; CROSSING: least acceleration at the crest of friction since all slips
were above it, −∞ before that [m/s^2]; BARRIER_*: what z cannot cross within a step [m/s]; SPENT: steps taken, −1: too
many."""
LANE = 17
