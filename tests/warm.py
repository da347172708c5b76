"""Compile the kernels once, before the workers of a test run start: each would compile all of them.

`python -m tests.warm throws` or `python -m tests.warm bounds`.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import stager
from stager.bounds import bound

CONFIGS = Path(__file__).parents[1] / "configs"


def warm(part: str) -> None:
    """Run the kernels of throws, also at a rate, or those of bounds for pairs and rails."""
    if part == "throws":
        loaded = stager.load(CONFIGS / "seed_ball.toml")
        loaded.replace({"limits.settled_loss": 0.05, "limits.winding_temperature": "90 degC"}).check()
        return
    for name in ("seed_ball", "foam_disc"):
        scenario = stager.load(CONFIGS / f"{name}.toml").scenario
        bound(replace(scenario, limit_values=replace(scenario.limit_values, grip_margin=0.0)), 1)


if __name__ == "__main__":
    warm(sys.argv[1])
