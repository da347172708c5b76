"""Frozen records of the launcher, its limits and its uncertainties, in SI; fields are floats or arrays over the batch.

arrays.py        types of numbers, and ranges that inputs must lie in
projectile.py    projectile and its shape; muzzle, target, standard deviations from shot to shot
stage.py         one stage: wheel, tyre, materials, motor, controller, supply; its layout: pair, rail or idler
requirements.py  limits and goal
launcher.py      contact, feed, guide, outlet, the whole launcher; the scenario: launcher, limits, goal and uncertain
                 quantities, the content of a configuration file
"""
