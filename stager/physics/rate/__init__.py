"""Throwing at a rate: what the wheels lose in each throw and get back until the next one.

`Rhythm` is one cycle, throw and recovery; `settled` is the state it settles into; `highest_rate` asks how often one may
throw.
"""

from stager.physics.rate.highest import HighestRate, highest_rate
from stager.physics.rate.rhythm import Rhythm, build_rhythm
from stager.physics.rate.sequence import Sequence, sequence
from stager.physics.rate.state import Settled, settled

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
