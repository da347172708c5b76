"""An upper bound on the exit speed of every setting within the limits.

records.py, entries.py      boxes of entry and wheel speeds, and where they leave
even.py                     the theorem, for pairs of equal wheels
led.py, form.py, reach.py   the same for one driven wheel: rails, and rods against rails or idlers
stages.py                   which of them serves which stage
press.py, traction.py, motor.py, extremes.py   greatest and least forces over such boxes
march.py                    integrates the bounds along a contact
margin.py                   how fast a wheel may turn that stays below its grip limit
boxes.py                    branch and prune over the boxes of one stage
prove.py                    stage by stage along the chain
budget.py, spending.py      what a budget that all stages share leaves of it
"""

from stager.bounds.prove import Bound, bound
from stager.bounds.spending import BUDGETS, shared

__all__ = ["BUDGETS", "Bound", "bound", "shared"]
