"""Throwing at a rate: what the wheels lose in each throw and get back until the next one.

`Rhythm` is one cycle, throw and recovery; `settled` is the state it settles into; `highest_rate` asks how often one may
throw.
"""

from stager.physics.rate.cycle import Rhythm, Sequence, build_rhythm, sequence
from stager.physics.rate.state import HighestRate, Settled, highest_rate, settled

__all__ = [
    "HighestRate",
    "Rhythm",
    "Sequence",
    "Settled",
    "build_rhythm",
    "highest_rate",
    "sequence",
    "settled",
]
