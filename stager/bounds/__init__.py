"""An upper bound on the exit speed of every setting within the limits.

entry_sets.py      boxes of entry and wheel speeds, their exits; wheel speeds below the grip limit
symmetric_pair.py  the theorem, for pairs of equal wheels
single_driven.py   the same for one driven wheel: rails, and rods against rails or idlers
stages.py          which theorem is used for which stage
normal_force.py    range of the normal force over such boxes; columns of the arrays of bounds
traction.py        ranges of friction, speeds and spins over such boxes
integrate.py       integration of the bounds along a contact, compiled
bound_chain.py     branch and prune over the boxes of one stage; the bound of a chain, stage by stage: `bound`
shared_budget.py   the bound tightened by a budget that all stages share: `shared`
"""

from stager.bounds.bound_chain import Bound, bound
from stager.bounds.shared_budget import BUDGETS, shared

__all__ = ["BUDGETS", "Bound", "bound", "shared"]
