"""How many flywheel stages to build, how fast to run each, and whether one more is worth it.

    launcher = stager.load("configs/seed_ball.toml")
    plan = launcher.plan()

Importing this package is cheap; the solvers are imported when they are first used.
"""

from stager.api import Loaded, build, load
from stager.errors import ExitStatus, InputError, InputErrors, Interrupted, StagerError
from stager.version import __version__

__all__ = [
    "ExitStatus",
    "InputError",
    "InputErrors",
    "Interrupted",
    "Loaded",
    "StagerError",
    "__version__",
    "build",
    "load",
]
