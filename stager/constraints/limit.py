"""What a limit is, and the verdict on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stager.constraints.design import Design
from stager.model.arrays import Floats, Number

ROUNDING = 1e-6


class Limit(Protocol):
    """One limit: what a design uses of it and what is allowed.

    Both are None where the limit is not set or does not apply; shapes are the batch's. `floor` limits ask for at
    least what is allowed, the others for at most.
    """

    @property
    def name(self) -> str:
        """As the document has it."""
        ...

    @property
    def unit(self) -> str:
        """Unit of `used` and `allowed`."""
        ...

    @property
    def floor(self) -> bool:
        """Whether at least what is allowed is asked for."""
        ...

    def used(self, design: Design) -> Number | None:
        """What the design uses, in `unit`."""
        ...

    def allowed(self, design: Design) -> Number | None:
        """What is allowed, in `unit`."""
        ...

    def remedy(self, design: Design) -> str:
        """The one change that would help most, for a design without batch axes."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A limit on a design: used and allowed in `unit`; slack = margin / allowed: ≥ 0 kept, 0 binds, < 0 broken.

    remedy: the one change that would help most; empty where not asked for.
    """

    name: str
    unit: str
    used: Floats
    allowed: Floats
    slack: Floats
    remedy: str = ""

    @property
    def kept(self) -> bool:
        """Whether it is kept, without batch axes; a millionth of the allowance is what a throw is computed to."""
        return bool(self.slack >= -ROUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unjudged:
    """A limit that is set but cannot be judged: what is allowed, in `unit`, and the key that is missing for it."""

    name: str
    unit: str
    allowed: float
    missing: str


def judge(limit: Limit, design: Design, *, remedies: bool = False) -> Verdict | None:
    """The verdict of `limit` on `design`, None where it is not set; remedies: for a design without batch axes."""
    allowed = limit.allowed(design)
    if allowed is None:
        return None
    used = limit.used(design)
    if used is None:
        return None
    use, allow = np.asarray(used, dtype=np.float64), np.asarray(allowed, dtype=np.float64)
    margin = use - allow if limit.floor else allow - use
    scale = np.where(allow == 0.0, 1.0, np.abs(allow))
    remedy = limit.remedy(design) if remedies else ""
    return Verdict(name=limit.name, unit=limit.unit, used=use, allowed=allow, slack=margin / scale, remedy=remedy)
