"""Two-node thermal network of a motor against a reference integration, and its limiting cases."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from stager.model.arrays import Floats
from stager.physics.heat import Loss, Network, after, steady, throwing_share, time_to

NETWORK = Network(winding_capacity=12.0, case_capacity=60.0, winding_to_case=1.5, case_to_air=4.0, air=293.15)
LOSS = Loss(copper=8.0, idle=1.5)


def reference(network: Network, loss: Loss, time: float, start: tuple[float, float] | None = None) -> float:
    """Integrate the two heat balances with scipy; return the winding temperature [K]."""

    def rates(_: float, y: Floats) -> list[float]:
        winding, case = y
        warm = loss.idle + loss.copper * (1 + 3.93e-3 * (winding - 293.15))
        across = (winding - case) / network.winding_to_case
        out = (case - network.air) / network.case_to_air
        return [(warm - across) / network.winding_capacity, (across - out) / network.case_capacity]

    begin = start or (network.air, network.air)
    return float(solve_ivp(rates, (0, time), begin, rtol=1e-10, atol=1e-9).y[0, -1])


@pytest.mark.parametrize("time", [0.0, 1.0, 30.0, 300.0, 3000.0])
def test_temperature_agrees_with_reference_integration(time: float) -> None:
    assert after(NETWORK, LOSS, time) == pytest.approx(reference(NETWORK, LOSS, time), rel=1e-8)


def test_temperature_from_a_warm_start() -> None:
    start = (350.0, 320.0)
    assert after(NETWORK, LOSS, 60.0, start) == pytest.approx(reference(NETWORK, LOSS, 60.0, start), rel=1e-8)
    assert after(NETWORK, Loss(copper=0.0, idle=0.0), 1e5, start) == pytest.approx(293.15)


def test_single_node_warms_with_its_time_constant() -> None:
    # Lumped body: 63.212 % of the rise after τ = R·C, 95.021 % after 3τ; any textbook.
    single = Network(winding_capacity=50.0, case_capacity=1e-6, winding_to_case=1e-6, case_to_air=2.0)
    rise = after(single, Loss(copper=0.0, idle=10.0), np.array([100.0, 300.0])) - single.air
    assert rise / 20.0 == pytest.approx([0.63212, 0.95021], rel=1e-4)


def test_temperature_approaches_the_steady_state() -> None:
    winding, case = steady(NETWORK, LOSS)
    assert after(NETWORK, LOSS, 1e5) == pytest.approx(winding, rel=1e-9)
    assert np.isinf(time_to(NETWORK, LOSS, winding))
    # All heat leaves through the case.
    warm = 1.5 + 8.0 * (1 + 3.93e-3 * (winding - 293.15))
    assert case - 293.15 == pytest.approx(warm * 4.0)
    assert winding - case == pytest.approx(warm * 1.5)


def test_thermal_runaway_of_copper_has_no_steady_state() -> None:
    hot = Loss(copper=60.0, idle=0.0)
    assert np.isinf(steady(NETWORK, hot)[0])
    assert np.isfinite(after(NETWORK, hot, 1e6))
    assert float(time_to(NETWORK, hot, 400.0)) < 60.0


@given(st.floats(0.5, 12.0), st.floats(300.0, 420.0))
def test_temperature_at_the_time_to_a_limit_is_the_limit(copper: float, limit: float) -> None:
    loss = Loss(copper=copper, idle=1.0)
    found = float(time_to(NETWORK, loss, limit))
    if np.isinf(found):
        assert steady(NETWORK, loss)[0] <= limit
    else:
        assert after(NETWORK, loss, found) == pytest.approx(limit, rel=1e-6)


def test_throwing_share_holds_the_winding_at_its_limit() -> None:
    resting = Loss(copper=0.5, idle=1.0)
    share = float(throwing_share(NETWORK, LOSS, resting, 330.0))
    mean = Loss(copper=share * 8.0 + (1 - share) * 0.5, idle=share * 1.5 + (1 - share) * 1.0)
    assert 0 < share < 1
    assert steady(NETWORK, mean)[0] == pytest.approx(330.0, rel=1e-9)
    assert throwing_share(NETWORK, LOSS, resting, 1000.0) == 1.0
    assert throwing_share(NETWORK, LOSS, resting, 294.0) == 0.0


def test_batch_equals_single_calls() -> None:
    copper, time = np.array([[1.0], [5.0]]), np.array([10.0, 100.0, 1000.0])
    both = after(NETWORK, Loss(copper=copper, idle=1.0), time)
    assert both.shape == (2, 3)
    one = after(NETWORK, Loss(copper=5.0, idle=1.0), 100.0)
    assert both[1, 1] == pytest.approx(one, rel=1e-14)
