"""An upper bound on the exit speed of every setting within the limits.

records.py, entry_sets.py   boxes of entry and wheel speeds, and where they leave; speeds below the grip limit
symmetric_pair.py           the theorem, for pairs of equal wheels
single_driven.py            the same for one driven wheel: rails, and rods against rails or idlers
stages.py                   which of them serves which stage
normal_force.py, traction.py, speed_limits.py   greatest and least forces, speeds and spins over such boxes
integrate.py, columns.py    integrates the bounds along a contact, compiled; what stands where in its arrays
branch_and_bound.py         branch and prune over the boxes of one stage
bound_chain.py              stage by stage along the chain
shared_budget.py            what a budget that all stages share leaves of it
"""

from stager.bounds.bound_chain import Bound, bound
from stager.bounds.shared_budget import BUDGETS, shared

__all__ = ["BUDGETS", "Bound", "bound", "shared"]
