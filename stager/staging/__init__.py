"""How many stages, how fast each wheel, and whether one more is worth it.

span.py, grip.py          how fast a wheel may turn; the speed past which it only slips
stage.py, table.py        one stage: its best wheel speed; its map over entry and wheel speed
search.py, joint.py       the best chain of a given length, stages one after the other or acting together
planner.py, ladder.py     over all stage counts; what each adds
"""

from stager.staging.planner import plan
from stager.staging.records import Plan, Rung, Settings

__all__ = ["Plan", "Rung", "Settings", "plan"]
