"""Frozen records of the launcher, its limits and its uncertainties, in SI; fields are floats or arrays over the batch.

arrays.py        types of numbers, and ranges that inputs must lie in
projectile.py    projectile and its shape
wheel.py         wheel, tyre and their materials
drive.py         motor, controller, heat model, supply
stage.py         one stage and its layout: pair, rail or idler
flight.py        muzzle, target, standard deviations from shot to shot
launcher.py      contact, feed, guide, outlet, and the whole launcher
requirements.py  limits and goal
scenario.py      launcher, limits, goal and uncertain quantities: the content of a configuration file
"""
