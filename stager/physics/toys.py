"""Published limits for toy projectiles, as their standards have them: to compare with, not to be certified by."""

from __future__ import annotations

from stager.model.toy import ToyLimit

TOY_LIMITS = (
    ToyLimit(
        name="ASTM F963-17",
        applies_to="projectiles of toys",
        energy=0.08,
        energy_per_area=2500.0,
        source="a test laboratory's bulletin on tests 8.14.5 and 8.14.6",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (resilient)",
        applies_to="projectiles with a resilient impact surface",
        energy=0.5,
        source="a trading-standards page of 2010",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (rigid)",
        applies_to="projectiles without a resilient tip",
        energy=0.08,
        source="a trading-standards page of 2010",
    ),
)
"""Limits whose values were read in the sources named. EN 71-1 as it stands judges by energy per area (amendment
A1:2018; a report of the Austrian agency for health and food safety on action A-046-18 says so): not read."""
NOT_COMPARED = "EN 71-1 as amended in 2018 goes by energy per area too: its values are not known here, so not compared."
