"""Friction in the kernels: number and values of a law, and a compiled function that evaluates laws by number."""

from __future__ import annotations

from typing import Any

from stager.physics.compiled import COMPILES, compiled, inlined
from stager.physics.friction import FORMULAS, packed, tables
from stager.physics.friction.laws import Formula, Law, curve


def number_and_values(law: Any) -> tuple[int, tuple[Any, ...]]:
    """Return the number of a law's formula and its values, floats or arrays over the batch.

    A law that is not registered is sampled through its `coefficient`: a cubic through many points and slopes, with an
    error of about 1e-9 for a smooth law.
    """
    if isinstance(law, Law) and law.formulas[law.formula] in FORMULAS:
        return FORMULAS.index(law.formulas[law.formula]), law.values()
    return FORMULAS.index(curve), tuple(packed(*tables(law)))


def dispatch(formulas: tuple[Formula, ...]) -> Any:
    """Return a compiled function of (number, slip [m/s], values) that evaluates one of `formulas`.

    Its source, one branch a formula, is generated: the compiler cannot call a function out of a tuple.
    """
    if not COMPILES:
        return lambda number, slip, values: formulas[number](slip, values)
    scope: dict[str, Any] = {
        f"formula_{number}": compiled(formula) if formula is curve else inlined(formula)
        for number, formula in enumerate(formulas)
    }
    branches = (f" if number == {number}: return formula_{number}(slip, values)" for number in range(len(formulas)))
    exec("\n".join(["def coefficient(number, slip, values):", *branches, " return slip, slip"]), scope)
    return inlined(scope["coefficient"])


coefficient: Any = dispatch(FORMULAS)
"""Compiled (number, slip [m/s], values) → coefficient [-] and slope [s/m]."""
