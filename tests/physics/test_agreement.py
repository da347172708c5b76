"""The contact kernel against an independent reference solver on drawn launchers.

Exit speed agrees within 1e-4, spin and slip heat within 1e-3. Jams agree, except where a change of the entry speed
by 0.1 % turns a jam into a throw.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from stager.model.projectile import ROD
from stager.model.stage import IDLER, PAIR, RAIL, Layout
from stager.physics.chain import throw
from stager.physics.records import Grip, Throw
from tests.oracle.throw import LONGEST, Outcome
from tests.oracle.throw import throw as reference_throw
from tests.physics.drawing import ROUND, SAMPLES, Batch, Form, batches

CASES = {
    "round in pairs": (ROUND, (PAIR,)),
    "round on rails": (ROUND, (RAIL,)),
    "round with idlers": (ROUND, (IDLER,)),
    "rods in pairs": ((ROD,), (PAIR,)),
    "rods on rails and with idlers": ((ROD,), (RAIL, IDLER)),
    "round in mixed stages": (ROUND, (PAIR, RAIL, IDLER)),
}
EXAMPLES, CHECKED = 6, 4
"""Batches per case, and samples of each that the reference solver throws, one of each spin: 144 launchers in all."""
TOLERANCE = 1e-8
"""Of the reference solver [-]; far below the differences that are allowed."""


def reference(batch: Batch, i: int, entry_speed: float | None = None) -> Outcome:
    return reference_throw(
        batch.sample(i), list(batch.speeds("a")[i]), list(batch.speeds("b")[i]),
        entry_speed=entry_speed, entry_spin=float(batch.spin[i]), tolerance=TOLERANCE,
    )  # fmt: skip


def decided_by_entry(batch: Batch, i: int) -> bool:
    """Return whether a change of 0.1 % in entry speed decides between a jam and a throw."""
    speeds = [float(batch.values["feed"][i]) * share for share in (0.999, 1.0, 1.001)]
    return len({reference(batch, i, speed).jammed for speed in speeds}) == 2


def assert_agreement(batch: Batch, i: int, found: Throw, expected: Outcome) -> None:
    mass, radius = batch.values["mass"][i], batch.values["diameter"][i] / 2
    assert found.exit_speed[i] == pytest.approx(expected.exit_speed, rel=1e-4)
    assert found.spin[i] == pytest.approx(expected.spin, rel=1e-3, abs=1e-3 * expected.exit_speed / radius)
    heat = sum(stage.slip_heat for stage in expected.stages)
    assert found.stages.slip_heat[i].sum() == pytest.approx(heat, rel=1e-3, abs=5e-5 * mass * expected.exit_speed**2)
    for k, stage in enumerate(expected.stages):
        done, unit = found.stages, 1e-3 * mass * expected.exit_speed**2
        assert done.entry_speed[i, k] == pytest.approx(stage.entry_speed, rel=1e-4)
        assert done.exit_speed[i, k] == pytest.approx(stage.exit_speed, rel=1e-4)
        assert done.contact_time[i, k] == pytest.approx(stage.contact_time, rel=1e-3)
        after = (done.wheel_speed_after_a[i, k], done.wheel_speed_after_b[i, k])
        assert after == pytest.approx(stage.after, rel=1e-3, abs=1e-3 * expected.exit_speed)
        for ends, most in (("top", stage.top), ("low", stage.low)):
            sides = [getattr(done, f"wheel_{ends}_{side}")[i, k] for side in "ab"]
            assert sides == pytest.approx(list(most), rel=1e-3, abs=1e-3 * expected.exit_speed)
        assert done.wheel_work[i, k] == pytest.approx(stage.wheel_work, rel=1e-3, abs=unit)
        assert done.crush_loss[i, k] == pytest.approx(stage.crush_loss, rel=1e-3, abs=unit)
        assert done.peak_acceleration[i, k] == pytest.approx(stage.peak_acceleration, rel=2e-2)
        near = stage.least_slip / batch.values["creep"][i]
        assert abs(near - 3) < 0.1 or (done.grip[i, k] == Grip.SYNC) == (near < 3)
        assert done.slip_at_exit[i, k] == pytest.approx(stage.slip_at_exit, rel=1e-3, abs=1e-3 * expected.exit_speed)


@pytest.mark.parametrize("case", CASES)
@settings(max_examples=EXAMPLES, phases=[Phase.generate])
@given(data=st.data())
def test_throws_agree_with_the_reference_solver(case: str, data: st.DataObject) -> None:
    batch = data.draw(batches(*CASES[case]))
    found = throw(batch.launcher, batch.speeds("a"), batch.speeds("b"), entry_spin=batch.spin)
    assert np.isfinite(found.exit_speed).all()
    # The reference solver also calls a throw that takes longer than LONGEST a jam.
    jammed = found.jammed | (found.stages.contact_time.sum(axis=-1) > LONGEST)
    for i in range(CHECKED):
        expected = reference(batch, i)
        if bool(jammed[i]) != expected.jammed:
            assert decided_by_entry(batch, i), (i, batch.form)
        elif not expected.jammed:
            assert_agreement(batch, i, found, expected)


# A rod that the rail brakes to 1.3 mm/s; it creeps on because friction rises steeply with slip.
CRAWL = {
    "mass": 0.0038964522627846945, "diameter": 0.05461202868816048, "length": 0.02, "feed": 4.0,
    "exponent": 1.760417927393075, "rebound": 0.5129716357751503, "creep": 0.02, "force": 19.097141260470988,
    "static": 0.3, "share": 0.2, "fade": 2.3842375319446303, "fade_exponent": 1.0733434728989462,
    "peak_speed": 0.1, "width": 1.5897073018934431, "spin": 4.573987090483679, "guide": 0.03686011507827579,
    "radius0": 0.02, "crush0": 0.039607112586127646, "inertia0": 0.6114858213874633,
    "idler0": 0.2796999559320603, "speed0": 17.7703606055696, "ratio0": 1.0, "clearance0": 0.001,
    "pitch0": 0.8363592509329595, "kv0": 53.57801023783036, "resistance0": 0.021866948875074912,
    "idle0": 1.496438088322663, "limit0": 5.0, "rotor0": 2.222919973580517e-07, "gear0": 0.7323625017238792,
    "depth0": 0.0013202233525122168, "modulus0": 2586027.366536022,
}  # fmt: skip
# A rod that leaves its first stage at 1 cm/s while the next stage holds it as well.
SLOW = {
    "mass": 0.009383776332577356, "diameter": 0.030162864350625852, "length": 0.11466305257974453,
    "feed": 3.1178165088446286, "exponent": 1.9406540625010131, "rebound": 0.3, "creep": 0.029290595893459472,
    "force": 5.849571391450744, "static": 0.7839190519098787, "share": 0.2000000959299981, "fade": 19.68076798838662,
    "fade_exponent": 1.0, "peak_speed": 1.0818814825845169, "width": 1.0161011717237756, "spin": 1.3088399100532258,
    "guide": 0.31597617611531764, "radius0": 0.023366362547709147, "crush0": 0.07408569539268252,
    "inertia0": 275.74024743673203, "idler0": 2.052993246989438, "speed0": 2.0, "ratio0": 0.528515280917774,
    "clearance0": 0.0010000006081816702, "pitch0": 0.7108912161896898, "kv0": 75.56306235535425,
    "resistance0": 0.4340473347510024, "idle0": 0.2, "limit0": 5.0, "rotor0": 4.2790529073520595e-08, "gear0": 0.5,
    "depth0": 0.0014602202242157258, "modulus0": 2000000.0, "radius1": 0.029075428650031366,
    "crush1": 0.10080260418120995, "inertia1": 0.3, "idler1": 0.3830043433247027, "speed1": 2.516065193916724,
    "ratio1": 0.8408964152537145, "clearance1": 0.0012607078599247972, "pitch1": 0.7097481023154913,
    "kv1": 242.54469779484648, "resistance1": 0.30332419505881664, "idle1": 0.21108973612855775,
    "limit1": 6.957136102853467, "rotor1": 1.000421704815275e-08, "gear1": 2.866576314493613,
    "depth1": 0.0016784666299987537, "modulus1": 3432966.650677869, "radius2": 0.02, "crush2": 0.12941954180771276,
    "inertia2": 0.30002075212641793, "idler2": 0.05, "speed2": 20.636693940009568, "ratio2": 0.5727767835327034,
    "clearance2": 0.00131278904561065, "pitch2": 0.5521722517301322, "kv2": 57.707917579890776,
    "resistance2": 0.04400666648567039, "idle2": 2.0553318300975643, "limit2": 10.137126489259527,
    "rotor2": 6.2572962749378646e-06, "gear2": 0.5, "depth2": 0.0010792088868057075, "modulus2": 4535845.872757804,
}  # fmt: skip


@pytest.mark.parametrize(
    "values, layouts", [(CRAWL, (RAIL,)), (SLOW, (RAIL, IDLER, RAIL))], ids=["creeps through", "leaves slowly"]
)
def test_creeping_rods_do_not_jam_and_agree_with_the_reference(
    values: dict[str, float], layouts: tuple[Layout, ...]
) -> None:
    form = Form(ROD, layouts, "tabulated", driven=True, tyred=True, two_speeds=False, close=False, guided="none")
    batch = Batch(form, {key: np.full(SAMPLES, value) for key, value in values.items()})
    expected = reference(batch, 0)
    assert not expected.jammed
    assert expected.stages[0].contact_time > 1.0
    found = throw(batch.launcher, batch.speeds("a"), batch.speeds("b"), entry_spin=batch.spin)
    assert not found.jammed.any()
    assert_agreement(batch, 0, found, expected)
