"""Fit a launcher's uncertain parameters to measured throws, and choose among friction laws."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from stager.errors import InputError, InputErrors
from stager.fit.adequacy import checks, misfits, repeats, undetermined
from stager.fit.explanations import causes
from stager.fit.likelihood import Noise, UnevenNoise, noise_of, usable
from stager.fit.optimiser import BestFit, best_fit, uneven
from stager.fit.posterior import Fit, Outlier, parameters, posterior
from stager.fit.priors import DRIFT, CandidateLaw, candidates
from stager.fit.statistics.importance_sampling import ENOUGH, FEWEST
from stager.fit.table.throws import Throws
from stager.model.launcher import Scenario

TIE = 2.0
"""Laws within this distance of the best AICc are averaged in predictions [-]."""

CLEAR_ADVANTAGE = 4.0
"""Least advantage in AICc of a law that replaces the configuration's own [-]."""

LEAST_THROWS = 3
"""Usable throws that a fit needs."""
OUTLIER_FROM = 0.95
"""Probability from which a throw is listed as an outlier [-]; the likelihood gives it little weight long before."""

Progress = Callable[[float], None]
"""Takes the share of the work that is done [-]."""


def silent(share: float) -> None:
    """Ignore the share of the work that is done."""


def fit(
    scenario: Scenario,
    throws: Throws,
    rng: np.random.Generator,
    *,
    progress: Progress = silent,
    other_laws: bool = True,
    words: bool = True,
) -> Fit:
    """Fit the scenario's uncertain parameters to `throws`.

    Parameters
    ----------
    scenario : Scenario
    throws : Throws
    rng : Generator
    progress : callable
        Is told the share of the work that is done [-].
    other_laws : bool
        Compare friction laws; else keep the configuration's.
    words : bool
        Also look for what the data cannot determine and for causes of misfits, and check predictions of later stages.

    Raises
    ------
    InputErrors
        Below LEAST_THROWS usable throws.
    """
    used = usable(throws)
    chosen = throws.chosen(used)
    if chosen.exit_speed.size < LEAST_THROWS:
        raise InputErrors([_too_few(throws, chosen.exit_speed.size)])
    laws = candidates(scenario) if other_laws else candidates(scenario)[:1]
    jammed = np.flatnonzero(throws.jammed)
    whole = throws.chosen(np.concatenate([used, jammed]))
    noise: Noise | UnevenNoise = noise_of(chosen)
    tried = _tried(scenario, whole, jammed.size, laws, noise, rng, progress)
    found = choose(tried)
    spread = uneven(found)
    if spread is not None:
        noise = spread
        tried = _tried(scenario, whole, jammed.size, laws, noise, rng, progress)
        found = choose(tried)
    if found.model.moment is not None and misfits(chosen, found, repeats(chosen, found), rng):
        # A drift of friction does not make the model fit: report the misfits of the simpler model, without drift.
        tried = _tried(scenario, whole, jammed.size, laws, noise, rng, progress, session=False)
        found = choose(tried)
    drawn, _ = posterior(found, rng)
    aicc = {one.law.name: one.aicc for one in tried}
    # Friction that is given without any ± is known: then no other law is averaged.
    weights = likely({one.law.name: one.aicc for one in tried if found.law.priors or one is found}, found.law.name)
    drawings = {found.law.name: (found.law, drawn)}
    for one in tried:
        if one is not found and one.law.name in weights:
            # A law of little weight needs few draws.
            needed = max(FEWEST, ENOUGH * weights[one.law.name])
            drawings[one.law.name] = one.law, posterior(one, rng, enough=needed)[0]
    drawings = {name: drawings[name] for name in weights}
    progress(0.75)
    told = parameters(found, drawn)
    drift = next((one for one in told if one.key == DRIFT), None)
    progress(0.85)
    repeated = repeats(chosen, found)
    wrong = misfits(chosen, found, repeated, rng)
    done = Fit(
        scenario=scenario, throws=throws, used=used, law=found.law.name,
        aicc=aicc, found=found, weights=weights, posteriors=drawings, drift=drift,
        parameters=tuple(one for one in told if one is not drift),
        scatter=found.scatter, repeats=repeated, outliers=_outliers(chosen, found),
        sentences=undetermined(found) if words else (), checks=checks(scenario, chosen, found, rng) if words else (),
        misfits=wrong, causes=causes(found, chosen, rng) if words and wrong else (),
    )  # fmt: skip
    progress(1.0)
    return done


def likely(aicc: Mapping[str, float], chosen: str) -> dict[str, float]:
    """Return the Akaike weights of the laws that are averaged, by name: the chosen one first, then those within TIE.

    Parameters
    ----------
    aicc : mapping
        AICc of each law, by name [-].
    chosen : str

    Returns
    -------
    dict
        Weights that sum to 1, in proportion to exp(−Δ/2), Δ the distance from the least AICc.

    References
    ----------
    Burnham and Anderson, Model Selection and Multimodel Inference, 2002, as read in the manual of the R package aod.
    """
    least = min(aicc.values())
    near = [name for name in sorted(aicc, key=lambda name: aicc[name]) if aicc[name] - least <= TIE and name != chosen]
    if not math.isfinite(aicc[chosen]):
        return {chosen: 1.0}
    raw = {name: math.exp(-(aicc[name] - least) / 2) for name in (chosen, *near)}
    return {name: value / sum(raw.values()) for name, value in raw.items()}


def _tried(
    scenario: Scenario,
    throws: Throws,
    jams: int,
    laws: Sequence[CandidateLaw],
    noise: Noise | UnevenNoise,
    rng: np.random.Generator,
    progress: Progress,
    *,
    session: bool = True,
) -> list[BestFit]:
    """Return the best fit of each law; those after the first also start from the parameters of the first.

    jams: how many of the last throws jammed; session: fit a drift of friction where the throws may have one.
    """
    tried: list[BestFit] = []
    near: dict[str, float] = {}
    for number, law in enumerate(laws):
        found = best_fit(scenario, law, throws, noise, rng, near=near, jams=jams, session=session)
        near = near or {prior.key: float(z) for prior, z in zip(found.priors, found.place, strict=True)}
        tried.append(found)
        progress(0.6 * (number + 1) / len(laws))
    return tried


def choose(tried: Sequence[BestFit]) -> BestFit:
    """Return the fit of the configuration's law, the first, unless another law is better in AICc and in evidence.

    The evidence penalises wide priors, which AICc does not count. Where too few throws give the first no AICc, none is.
    """
    own = tried[0]
    if not own.law.priors or not math.isfinite(own.aicc):
        return own
    better = [one for one in tried[1:] if own.aicc - one.aicc > CLEAR_ADVANTAGE and one.evidence > own.evidence]
    return min(better, key=lambda one: one.aicc, default=own)


def _outliers(throws: Throws, found: BestFit) -> tuple[Outlier, ...]:
    wild = found.outlier_probability
    fitted = throws.exit_speed * np.exp(-found.residuals)
    return tuple(
        Outlier(
            line=int(throws.line[k]), order=float(throws.order[k]), exit_speed=float(throws.exit_speed[k]),
            fitted=float(fitted[k]), probability=float(wild[k]),
        )
        for k in np.flatnonzero(wild > OUTLIER_FROM)
    )  # fmt: skip


def _too_few(throws: Throws, count: int) -> InputError:
    jams = int(throws.jammed.sum())
    had = f"{count} with an exit speed above 0" + (f", {jams} that jammed" if jams else "")
    return InputError(
        f"a fit needs at least {LEAST_THROWS} usable throws (got {had})", where=throws.source,
        hint="measure throws at several wheel speeds, below and above the grip limit",
    )  # fmt: skip
