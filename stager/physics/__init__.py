"""Physics of a launcher: pure functions on arrays, whose leading axes are the batch and whose last axis is the stage.

chain.py        throw through a chain of stages; options of the integrator
contact/        the contact kernel: forces on wheel, rail and idler, time integration, one stage after the other
friction/       friction laws
guide.py        free run between stages, with friction and air drag
grip_limit.py   the grip limit of a stage
records.py      what a transit and a throw return
mechanics.py    energies of the projectile, greatest normal and friction force of a nip
layout.py       places along the barrel, length, highest rate of the feed
rotor.py        mass, inertia, growth, stress and burst speed of a wheel
tyre.py         how a tyre stays on its hub
materials.py    hub and tyre materials by name
parts.py        a stage with a wheel and a drive of its catalogue
drive/          motor, supply, spin-up, speeds of the wheels over time
rate/           throwing at a rate: energy of one period, settled state, highest rate
heat.py         cooling of a motor, temperatures of its winding
air.py          standard atmosphere, drag and lift of a ball, windage of a disc
muzzle.py       outlet loss, and what the instruments indicate
flight.py       trajectory, range, fall line
scatter.py      exit speed and place on the target from shot to shot
safety.py       injury thresholds, limits on toys, hazards of the wheels
batch.py        batches of records: common shape, flattening, selection
compiled.py     compilation of the kernels; announcement.py tells before it starts
"""
