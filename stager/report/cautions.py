"""What is said under every plan."""

from __future__ import annotations

CAUTIONS = (
    "Before you build: wear eye protection; enclose wheels in a guard and throw into a backstop; never aim at people"
    " or animals.",
    "Brittle projectiles and wheels can burst. Lithium cells need a fuse, a charger made for them, and watching.",
    "Local rules and qualified people decide what is allowed; these numbers do not.",
)
