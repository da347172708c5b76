"""What is said under every plan."""

from __future__ import annotations

CAUTIONS = (
    "Eye protection, guard and backstop; never aim at people or animals.",
    "Brittle projectiles and wheels can burst; lithium cells need a fuse and care.",
    "Local rules and qualified people decide what is allowed; these numbers do not.",
)
MORE_CAUTIONS = (
    "Before you build: enclose wheels in a guard and stay out of their plane; charge lithium cells with a charger made"
    " for them, and watch them.",
)
"""What is said beside them where there is room."""
