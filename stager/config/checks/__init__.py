"""What must fit together across keys, once each key alone is right."""

from __future__ import annotations

from collections.abc import Iterator

from stager.config.checks.contact import contact
from stager.config.checks.feed import feed
from stager.config.checks.limits import limits
from stager.config.checks.projectile import projectile
from stager.config.checks.stage import stage
from stager.config.machine import File
from stager.config.problem import Problem


def check(file: File) -> list[Problem]:
    """Problems of a file whose single values are all right."""
    return [*projectile(file), *feed(file), *contact(file), *limits(file), *_stages(file)]


def _stages(file: File) -> Iterator[Problem]:
    """Those of [stage], and of each entry of [[stages]] what [stage] has not got already."""
    common = list(stage(file, ("stage",), file.stage))
    yield from common
    said = {(problem.path[1:], problem.message) for problem in common}
    for number, entry in enumerate(file.stages):
        for problem in stage(file, ("stages", number), entry):
            if (problem.path[2:], problem.message) not in said:
                yield problem
