"""Physics of a launcher: pure functions on arrays, whose leading axes are the batch and whose last axis is the stage.

chain.py       throw through a chain of stages; options of the integrator
contact/       the contact kernel: forces on wheel, rail and idler, time integration, one stage after the other
friction.py    friction laws
grip_limit.py  the grip limit of a stage
records.py     what a transit and a throw return; batches of records: common shape, flattening, selection
mechanics.py   energies of the projectile, greatest normal and friction force of a nip
barrel.py      places along the barrel, length, free run with friction and air drag, highest rate of the feed
pusher.py      what a pusher must do
wheel.py       mass, inertia, growth, stress and burst speed of a wheel; how its tyre stays on it; materials by name
parts.py       a stage with a wheel and a drive of its catalogue
motor.py       motors, all driven wheels as a `Drivetrain`, currents and speeds that their supply gives
transient.py   speeds and energies of the wheels over time; spin-up
rate.py        throwing at a rate: energy of one period, settled state, highest rate
heat.py        cooling of a motor, temperatures of its winding
air.py         standard atmosphere, drag and lift of a ball, windage of a disc
flight.py      outlet loss, trajectory, range, fall line, and what the instruments indicate
scatter.py     exit speed and place on the target from shot to shot
safety.py      injury thresholds, limits on toys, hazards of the wheels
compiled.py    machine code of the kernels; build.py makes it, announcement.py tells before that
"""
