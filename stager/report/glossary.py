"""The terms of the field and the limits, in plain words: what `stager explain` says and the page notes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """A term in plain words; picture: lines of characters, at most 72 wide; see: related terms."""

    text: str
    picture: str = ""
    see: tuple[str, ...] = ()


_GRIP_PICTURE = """\
exit speed
  |            . - .      <- grip limit: fastest throw
  |         .'       ' - . _
  |       .'   rolls       slips only
  |     .'  with the wheel
  |   .'
  +---------------------------- wheel speed"""
_NIP_PICTURE = """\
      (  wheel A  )   turns forward
       \\_______.'
    -->  ( ball ) -->     free gap = diameter - crush
       .-------.
      (  wheel B  )   or a rail, or an idler"""
_LADDER_PICTURE = """\
exit speed
  |                    ._____ 4
  |             ._____|  3
  |       .____|  2            each step adds less
  |  ____|  1                  than the one before
  +----------------------- number of stages"""

TERMS: dict[str, Term] = {
    "stage": Term(
        "One place where the projectile is gripped and pushed: a driven wheel and what presses from the other side.",
        _NIP_PICTURE, ("pair", "rail", "idler"),
    ),
    "pair": Term("A stage with two driven wheels. At equal speeds the projectile leaves without spin.", see=("stage",)),
    "rail": Term(
        "A stage with one driven wheel against a fixed strip. The projectile rolls along the strip, so it leaves at"
        " about half the wheel's surface speed, with backspin.", see=("stage", "rolling"),
    ),
    "idler": Term(
        "A stage with one driven wheel against a wheel that turns freely. The free wheel must be brought up to speed by"
        " every throw, which takes energy from it.", see=("stage",),
    ),
    "grip limit": Term(
        "The slowest wheel speed at which a stage throws as fast as it can. Below it the projectile catches up with the"
        " wheel. Above it the contact slips to the end, friction falls, and the throw gets slower although the wheel is"
        " faster. The best setting lies just below it.", _GRIP_PICTURE, ("grip margin", "slip", "sync"),
    ),
    "slip": Term(
        "Difference of speed between the wheel's surface and the projectile's. Slip makes friction push, heat and wear."
        " A throw that ends with the grip word 'slip' never caught up with its wheel.", see=("sync", "slip heat"),
    ),
    "sync": Term("The projectile has caught up with the wheel: slip is down to three times the creep.", see=("creep",)),
    "jam": Term(
        "The projectile does not get through: before the narrowest point the wheels push it back, and friction does not"
        " pull it in hard enough. A faster feed, less crush, a larger wheel or more friction gets it through.",
        see=("bite",),
    ),
    "bite": Term(
        "Whether friction alone pulls a resting projectile in: friction must exceed the tangent of the angle at which"
        " wheel and projectile first touch. Rolling mills have the same condition.", see=("jam",),
    ),
    "crush": Term(
        "How much narrower the gap is than the projectile, in total: wheel tyre and projectile are squeezed by this"
        " much together. More crush grips harder, and costs more energy and more strain.", _NIP_PICTURE, ("rebound",),
    ),
    "rebound": Term(
        "Share of the energy of squeezing that comes back as the projectile leaves the gap. The rest is lost as heat"
        " inside tyre and projectile. 1 is a perfect spring.", see=("crush",),
    ),
    "creep": Term(
        "Slip that a rubber contact needs before it has its full friction. Soft tyres shear, so they need more of it.",
        see=("slip",),
    ),
    "stiffness": Term(
        "How hard tyre and projectile press back together, per side: force per length of crush. Press the ball against"
        " the tyre on a kitchen scale and note force and way.", see=("crush",),
    ),
    "friction law": Term(
        "How the coefficient of friction depends on slip speed. constant: one value. falling: high at little slip, low"
        " at much. rising: the other way round. bell: rises, peaks and falls. tabulated: measured points.",
        see=("grip limit",),
    ),
    "rolling": Term(
        "On a rail a ball that rolls without slip has spin = speed / radius, and moves at half the wheel's"
        " surface speed.",
        see=("rail",),
    ),
    "ladder": Term(
        "Exit speed against number of stages, each tuned for itself: what every further stage adds and costs.",
        _LADDER_PICTURE, ("worthwhile",),
    ),
    "worthwhile": Term(
        "The least gain of exit speed for which you would build one more stage (goal.worthwhile). Plans recommend"
        " stages up to the last that adds so much.", see=("ladder",),
    ),
    "droop": Term(
        "Share of its set speed that a wheel lacks right after a throw. A heavier wheel droops less and takes longer to"
        " spin up.", see=("recovery time", "settled loss"),
    ),
    "recovery time": Term("Time after a throw until the wheels are back at their set speeds.", see=("droop",)),
    "outlet": Term(
        "Barrel, spout or sensor housing behind the last wheel. It takes a fixed energy from each throw, which matters"
        " most for slow throws.", see=("exit energy",),
    ),
    "coverage interval": Term(
        "The range that holds the true value with 95 % probability, as far as the stated uncertainties are right."
        " '95 % of builds' covers what is not known of this launcher; '95 % of shots' how single throws differ.",
    ),
    "bound": Term(
        "A speed that no setting within the limits can exceed. It shows how far from the best a plan can be at most.",
        see=("ladder",),
    ),
    "confidence": Term(
        "Share of builds in which the planned settings keep all limits together that protect people and parts"
        " (limits.confidence, 0.95 where left out). 0.5 asks for the nominal settings only.",
        see=("coverage interval",),
    ),
    "spin": Term("How fast the projectile turns as it leaves; positive where side A drives it forward.", see=("rail",)),
    "drag": Term("Force of the air against the flight; grows with the square of speed."),
}  # fmt: skip
"""Terms by name."""

LIMITS: dict[str, Term] = {
    "exit_energy": Term(
        "Energy of motion of what leaves the launcher, m v² / 2. Always required: it decides how badly a hit can hurt."
    ),
    "exit_speed": Term("Speed of what leaves the launcher, behind the outlet where there is one."),
    "energy_per_area": Term(
        "Exit energy divided by the area seen from the front. Small hard projectiles hurt more at equal energy."
    ),
    "toy": Term(
        "A published limit on toy projectiles. Limits per area use the area that touches (projectile.contact_area);"
        " without it they are not judged. Such a limit does not make a launcher a toy."
    ),
    "acceleration": Term("Greatest acceleration along the barrel. Brittle projectiles break above theirs."),
    "crush": Term("Squeeze of the projectile at speed, tyre growth included, against what it bears (max_crush)."),
    "slip_heat": Term(
        "Heat that slip makes in one throw, both sides, all stages. Too much smears tyres and melts plastics."
    ),
    "grip_margin": Term(
        "How far below its grip limit each wheel stays. A margin costs little speed and keeps throws alike when"
        " friction changes.", see=("grip limit",),
    ),
    "stages": Term("Greatest number of stages."),
    "length": Term("Length along the barrel, from the first wheel's front to the end of the outlet."),
    "mass": Term("Mass of all stages together."),
    "cost": Term("Cost of all stages together, in any currency."),
    "wheel_speed": Term("Greatest surface speed of any wheel."),
    "motor_speed": Term("Speed of a motor against the greatest that it stands (drive.max_speed)."),
    "drive_reach": Term("Wheel speed against what the motor reaches at full throttle with this supply."),
    "burst": Term(
        "Wheel speed against the one at which the hub breaks. Brittle and printed hubs break at the greatest stress,"
        " ductile metal at the mean one. Stay out of the wheel's plane."
    ),
    "tyre_retention": Term(
        "Wheel speed against the one at which the tyre comes off. A ring that is only stretched over the rim lifts off;"
        " a lip, a clamp or a bond holds it as far as its own strength goes. Where that is unknown, it is not judged."
    ),
    "rim_safety": Term("Strength of the hub divided by its greatest stress; 3 or more is usual."),
    "tyre_turning": Term("Grip force against what keeps the tyre from turning on its hub."),
    "throttle": Term("Share of the supply's voltage that holds the wheels at their speeds; 1 is all there is."),
    "voltage": Term("Open voltage of the supply."),
    "peak_power": Term("Most power that the supply gives while all wheels spin up together."),
    "supply_current": Term("Most current that the supply gives while all wheels spin up together."),
    "average_power": Term("Power that the supply gives in the mean, throwing at the feed's rate."),
    "winding_temperature": Term(
        "Temperature of the hottest motor winding after a session at the feed's rate. Insulation and magnets fail above"
        " theirs; many small motors stand about 100 to 120 degC (common practice, no source)."
    ),
    "settled_loss": Term(
        "Share of exit speed that is lost between the first throw and the ones at the feed's rate.", see=("droop",)
    ),
}  # fmt: skip
"""Limits by key."""
