"""An upper bound on the exit speed of every setting within the limits.

records.py, entry_sets.py   boxes of entry and wheel speeds, their exits; wheel speeds below the grip limit
symmetric_pair.py           the theorem, for pairs of equal wheels
single_driven.py            the same for one driven wheel: rails, and rods against rails or idlers
stages.py                   which theorem is used for which stage
normal_force.py, traction.py, speed_limits.py   ranges of forces, speeds and spins over such boxes
integrate.py, columns.py    integration of the bounds along a contact, compiled; indices of its arrays
branch_and_bound.py         branch and prune over the boxes of one stage
bound_chain.py              the bound of a chain, stage by stage: `bound`
shared_budget.py            the bound tightened by a budget that all stages share: `shared`
"""

from stager.bounds.bound_chain import Bound, bound
from stager.bounds.shared_budget import BUDGETS, shared

__all__ = ["BUDGETS", "Bound", "bound", "shared"]
