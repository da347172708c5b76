"""The best number of stages and wheel speeds.

planner.py     the plan: best parts, stage count, speeds, ladder, verdict, bound     records.py  what it returns
problem.py     variables, objective and limits of the search     judge.py  settings evaluated in the true model
search.py      best settings of a stage count: starts and their refinement     clock.py  time limit
spin.py        speeds of both wheels of a pair for a wanted spin     grip_limits.py  grip limits of throws
parts.py       wheels, drives and design variables chosen from what is offered
draws.py       possible launchers and where their throws land     robust.py  reserves, robust settings, first throws
ladder.py      what each further stage adds over possible builds, and the verdict
relaxation.py  what looser limits would gain, and why no design fits
settable.py    wheel speeds with the digits that are shown, within the limits
pareto.py      Pareto fronts, and the plan with other wheels
sweep.py       exit speed against wheel speed     response.py  tables for the sliders of the page
sizing.py      which motor a rate takes, how long a charge lasts
"""
