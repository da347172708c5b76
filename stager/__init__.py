"""How many flywheel stages to build, how fast to run each, and whether one more is worth it.

    launcher = stager.load("configs/seed_ball.toml")
    plan = launcher.plan()

Importing this package is cheap; everything is imported when it is first used.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from stager.api import Loaded, build, load
    from stager.api.design_results import Checked, MotorResult, PlanResult, SettingsResult, SweepResult
    from stager.api.fitting import CompareResult, FitResult, NextResult
    from stager.api.results import ThrowResult
    from stager.errors import ExitStatus, InputError, InputErrors, Interrupted, NoDesign, NotComputable, StagerError
    from stager.version import __version__

__all__ = [
    "Checked",
    "CompareResult",
    "ExitStatus",
    "FitResult",
    "InputError",
    "InputErrors",
    "Interrupted",
    "Loaded",
    "MotorResult",
    "NextResult",
    "NoDesign",
    "NotComputable",
    "PlanResult",
    "SettingsResult",
    "StagerError",
    "SweepResult",
    "ThrowResult",
    "__version__",
    "build",
    "load",
]
_HOMES = {
    "Loaded": "api", "build": "api", "load": "api", "__version__": "version", "ThrowResult": "api.results",
    **dict.fromkeys(("Checked", "MotorResult", "PlanResult", "SettingsResult", "SweepResult"), "api.design_results"),
    **dict.fromkeys(("CompareResult", "FitResult", "NextResult"), "api.fitting"),
}  # fmt: skip


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for: the command line hears Ctrl-C before anything is loaded."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found: object = getattr(import_module(f"stager.{_HOMES.get(name, 'errors')}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
