"""Throwing at a rate: wheels slow down in each throw and recover until the next one.

cycle.py     one cycle of throw and recovery, and a sequence of throws
settling.py  compiled: the fixed point of the cycle
state.py     the settled state, its energies and its loss of exit speed; the highest rate within a loss
"""

from stager.physics.rate.cycle import Cycle, Sequence, build_cycle, sequence
from stager.physics.rate.state import HighestRate, Settled, highest_rate, settled

__all__ = [
    "HighestRate",
    "Cycle",
    "Sequence",
    "Settled",
    "build_cycle",
    "highest_rate",
    "sequence",
    "settled",
]
