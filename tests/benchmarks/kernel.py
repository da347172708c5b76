"""A serial Numba kernel of the same scheme for comparison: a ball between two equal wheels, falling friction.

State: projectile speed v and surface speed u of the wheels; both sides are equal, so one slip is enough.
"""

from __future__ import annotations

from math import exp, sqrt, tanh

import numpy as np
from numba import njit

from stager.model.launcher import Launcher
from stager.physics.contact.integrate import EXPLICIT, GAMMA, KNOWN_SHARES, LAST_INSIDE, PLACE, STATE
from stager.physics.friction import Falling
from stager.physics.wheel import driven_inertia

ROWS = 6
_STATE = np.array([row + (0.0,) * (5 - len(row)) for row in STATE])
_KNOWN = np.array([row + (0.0,) * (5 - len(row)) for row in KNOWN_SHARES])
_PLACE, _DRIFT = np.array(PLACE), np.array(EXPLICIT)


@njit(cache=False, error_model="numpy")
def _contact(x, v, u, p, rebound):
    """Return dv/dx and du/dx, the force on one side, and slopes."""
    distance = sqrt(x * x + p[1] * p[1])
    crush = max(p[0] - distance, 0.0)
    sine, cosine = x / distance, p[1] / distance
    scale = rebound * p[2]
    normal = scale * crush if p[3] == 1.0 else scale * crush ** p[3]
    slip = u - v * cosine
    fading = (p[4] - p[5]) * exp(-abs(slip) / p[6])
    creeping = tanh(slip / p[7])
    traction = (p[5] + fading) * creeping
    force = normal * traction
    forward = (2.0 * normal * sine + 2.0 * force * cosine) / (p[8] * v)
    return forward, -p[9] * force / v, normal, sine, cosine, distance, crush, scale, fading, creeping, traction, force


@njit(cache=False, error_model="numpy")
def _update_extremes(forward, v, u, cosine, seen):
    """Update the greatest acceleration, and the lowest and highest slip."""
    slip = u - v * cosine
    seen[0], seen[1], seen[2] = max(seen[0], abs(forward * v)), min(seen[1], slip), max(seen[2], slip)


@njit(cache=False, error_model="numpy")
def _segment(v, u, half, closing, p, tolerance, rebound, seen):
    place, size, held = 0.0, 0.1, False
    known, parts = np.empty(2), np.empty((ROWS, 2))
    top = u
    for _ in range(100000):
        size = min(size, 1.0 - place)
        if closing:
            x, stretch, bend = half - half * (1 - place) ** 2, 2 * half * (1 - place), -2 * half
        else:
            x, stretch, bend = -half + half * place * place, 2 * half * place, 2 * half
        f = _contact(x, v, u, p, rebound)
        fv, fu, normal, sine, cosine, distance, crush, scale, fading, creeping, traction, force = f
        _update_extremes(fv, v, u, cosine, seen)
        rush = 0.0
        steep = normal * (-fading / p[6] * abs(creeping) + (p[5] + fading) * (1 - creeping * creeping) / p[7])
        dcos, dsin = -cosine * sine / distance, cosine * cosine / distance
        dnormal = -scale * p[3] * (1.0 if p[3] == 1.0 else crush ** (p[3] - 1.0)) * sine if crush > 0 else 0.0
        dforce = dnormal * traction - steep * v * dcos
        xv = 2.0 * (dnormal * sine + normal * dsin + dforce * cosine + force * dcos) / (p[8] * v)
        xu = -p[9] * dforce / v
        reach = GAMMA * size
        t = reach * stretch
        # (1 - tJ) by hand: the force's increment is steep*(du - cosine dv).
        gv, gu = 2.0 * cosine / (p[8] * v), -p[9] / v
        a11 = 1 + t * fv / v + t * gv * steep * cosine
        a12 = -t * gv * steep
        a21 = t * fu / v + t * gu * steep * cosine
        a22 = 1 - t * gu * steep
        determinant = a11 * a22 - a12 * a21
        dv = reach * size * (stretch * stretch * xv + bend * fv)
        du = reach * size * (stretch * stretch * xu + bend * fu)
        inner_v, inner_u = v, u
        for number in range(ROWS):
            if number == 0:
                known[0], known[1] = t * fv + _DRIFT[0] * dv, t * fu + _DRIFT[0] * du
            else:
                inner_v, inner_u = v, u
                mix_v, mix_u = 0.0, 0.0
                for k in range(number):
                    inner_v += _STATE[number, k] * parts[k, 0]
                    inner_u += _STATE[number, k] * parts[k, 1]
                    mix_v += _KNOWN[number, k] * parts[k, 0]
                    mix_u += _KNOWN[number, k] * parts[k, 1]
                at = place + _PLACE[number] * size
                if closing:
                    y, later = half - half * (1 - at) ** 2, 2 * half * (1 - at)
                else:
                    y, later = -half + half * at * at, 2 * half * at
                moving = max(inner_v, 1e-6)
                g = _contact(y, moving, inner_u, p, rebound)
                if number <= LAST_INSIDE:
                    rush = max(rush, abs(g[0] * moving))
                known[0] = reach * later * g[0] + _DRIFT[number] * dv + GAMMA * mix_v
                known[1] = reach * later * g[1] + _DRIFT[number] * du + GAMMA * mix_u
            parts[number, 0] = (a22 * known[0] - a12 * known[1]) / determinant
            parts[number, 1] = (a11 * known[1] - a21 * known[0]) / determinant
        ev, eu = abs(parts[5, 0]), abs(parts[5, 1])
        new_v, new_u = inner_v + parts[5, 0], inner_u + parts[5, 1]
        speed = max(v, top)
        ratio = max(2 * v * ev / (v * v + 0.01 * speed * speed), eu / speed) / tolerance
        if not new_v > 1e-5 * speed:
            if size <= 1e-4:
                return 0.0, u, True
            size, held = 0.25 * size, True
            continue
        factor = min(max(0.9 * max(ratio, 1e-8) ** -0.25, 0.2), 5.0) if ratio == ratio else 0.2
        if ratio <= 1.0:
            v, u, place = new_v, new_u, place + size
            seen[0] = max(seen[0], rush)
            if place >= 1.0 - 1e-12:
                g = _contact(half if closing else 0.0, v, u, p, rebound)
                _update_extremes(g[0], v, u, g[4], seen)
                return v, u, False
            size *= min(factor, 1.0) if held else factor
            held = False
        else:
            size, held = size * min(factor, 0.8), True
    return v, u, True


@njit(cache=False, error_model="numpy")
def _all(speeds, entry, half, p, tolerance, rebound):
    out = np.empty((3, speeds.size))
    seen = np.empty(3)
    for i in range(speeds.size):
        seen[0], seen[1], seen[2] = 0.0, np.inf, -np.inf
        v, u, jammed = _segment(entry, speeds[i], half, False, p, tolerance, 1.0, seen)
        if not jammed:
            v, u, jammed = _segment(v, u, half, True, p, tolerance, rebound, seen)
        out[0, i], out[1, i], out[2, i] = 0.0 if jammed else v, seen[0], max(seen[1], -seen[2], 0.0)
    return out


def throws(launcher: Launcher, speeds: np.ndarray, tolerance: float) -> np.ndarray:
    """Throw a ball through one pair at each of `speeds` [m/s], without tyre growth and motor.

    Rows of the result: exit speed [m/s], peak acceleration [m/s^2], least slip [m/s].
    """
    stage, contact, law = launcher.template, launcher.contact, launcher.contact.friction
    if not isinstance(law, Falling):
        raise TypeError("the kernel has falling friction only")
    reach = stage.wheel.radius + launcher.projectile.radius
    height = reach - stage.crush / 2
    constants = np.array([
        reach, height, contact.stiffness, contact.exponent, law.static, law.sliding, law.fade_speed, contact.creep,
        launcher.projectile.mass, stage.wheel.radius**2 / driven_inertia(stage),
    ])  # fmt: skip
    half = sqrt(reach**2 - height**2)
    return _all(speeds, launcher.feed.speed, half, constants, tolerance, contact.rebound)
