"""Settings for every test."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "stager",
    derandomize=True,
    deadline=None,
    database=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("stager")
