"""`stager listen`: WAV files of every sample format, and damaged ones."""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.io import wavfile

from stager.api.recording import read_recording
from stager.errors import InputError
from stager.model.arrays import Floats
from tests.cli.run import stager
from tests.fit.recordings import Wheel, recording

RATE = 44_100
PLACES = ("--distance", "5 m ± 1 cm", "--microphone", "0.3 m")
SOUND = 343.2
"""Speed of sound at 20 °C [m/s]: 340.294·√(293.15/288.15), ISO 2533."""


def _throw(wheel: bool = True) -> Floats:
    """Return a recorded throw: 5 m in 0.25 s (20 m/s), microphone at 0.3 m, a 4000 rpm wheel that slows by 6 %."""
    rng = np.random.default_rng(11)
    wheels = (Wheel(turns=4000 / 60, amplitudes=(1.0, 0.5, 0.4), droop=0.06, constant=0.15),) if wheel else ()
    made = recording(rng, seconds=3.0, rate=RATE, knocks=(1.2 + 0.3 / SOUND, 1.45 + 4.7 / SOUND), release=1.2,
                     wheels=wheels, ratio=10.0)  # fmt: skip
    return np.asarray(made.samples / np.max(np.abs(made.samples)))


SAMPLES = _throw()


def _write(path: Path, kind: str, samples: Floats = SAMPLES) -> None:
    if kind == "24":
        whole = (np.clip(samples, -1, 1 - 2**-23) * 2**23).astype("<i4")
        body = whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
        head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(body), b"WAVE", b"fmt ", 16, 1, 1, RATE, 3 * RATE, 3,
                           24, b"data", len(body))  # fmt: skip
        path.write_bytes(head + body)
        return
    made = {
        "8": lambda: np.round(samples * 127 + 128).astype(np.uint8), "16": lambda: (samples * 32_767).astype(np.int16),
        "32": lambda: (samples * (2**31 - 1)).astype(np.int32), "float": lambda: samples.astype(np.float32),
        "double": lambda: 1e30 * samples, "stereo": lambda: np.stack([0.01 * samples[::-1], samples], axis=1),
    }[kind]()  # fmt: skip
    wavfile.write(path, RATE, made)


@pytest.mark.parametrize("kind", ["8", "16", "24", "32", "float", "double", "stereo"])
def test_every_sample_format_gives_the_same_result(kind: str, tmp_path: Path) -> None:
    _write(tmp_path / "a.wav", kind)
    ran = stager("listen", str(tmp_path / "a.wav"), *PLACES, "--rpm", "2000:6000", "--json")
    document = json.loads(ran.out)
    assert ran.status == 0
    assert document["speed"]["value_m_s"] == pytest.approx(20.0, rel=0.01)
    (wheel,) = document["wheels"]
    assert wheel["rpm"]["value_rpm"] == pytest.approx(4000, rel=0.005)
    assert wheel["droop"]["value_fraction"] == pytest.approx(0.06, abs=0.012)
    assert document["row"].keys() == {"wheel_1 [rpm]", "flight_time [s]", "distance [m]"}
    assert float(document["row"]["flight_time [s]"]) == pytest.approx(0.25, rel=0.01)


def test_tone_of_another_program_is_recognised(tmp_path: Path) -> None:
    # A tone of 75 Hz and its third harmonic in noise, made by sox if it is installed, else by numpy.
    path = tmp_path / "made.wav"
    if shutil.which("sox"):
        made = ["sox", "-n", "-r", str(RATE), "-b", "16", str(path), "synth", "3", "sine", "75", "synth", "3", "sine",
                "mix", "225", "synth", "3", "pinknoise", "mix", "gain", "-6"]  # fmt: skip
        subprocess.run(made, check=True)
    else:
        time = np.arange(3 * RATE) / RATE
        tone = 0.3 * np.sin(2 * np.pi * 75 * time) + 0.15 * np.sin(2 * np.pi * 225 * time)
        _write(path, "16", tone + 0.05 * np.random.default_rng(3).standard_normal(time.size))
    ran = stager("listen", str(path), "--rpm", "3000:7000", "--json")
    assert json.loads(ran.out)["wheels"][0]["rpm"]["value_rpm"] == pytest.approx(4500, rel=0.005)


def test_mains_hum_is_pointed_out(tmp_path: Path) -> None:
    time = np.arange(2 * RATE) / RATE
    hum = 0.3 * np.sin(2 * np.pi * 50 * time) + 0.02 * np.random.default_rng(4).standard_normal(time.size)
    _write(tmp_path / "hum.wav", "16", hum)
    ran = stager("listen", str(tmp_path / "hum.wav"), "--rpm", "2000:4000")
    assert "mains hum" in ran.out
    assert ran.status == 0


def test_noise_alone_gives_status_one_with_reasons(tmp_path: Path) -> None:
    _write(tmp_path / "a.wav", "16", 0.1 * np.random.default_rng(5).standard_normal(2 * RATE))
    ran = stager("listen", str(tmp_path / "a.wav"), *PLACES)
    assert ran.status == 1
    assert ran.out.count("cannot tell") == 5
    assert "no knock is heard" in ran.out


BAD = {
    "": "is empty",
    "RIFF": "is not a WAV file",
    "hello, world: no sound at all": "is not a WAV file",
    "RIFF\x24\x00\x00\x00WAVEfmt ": "cannot be read as a WAV file",
}


@pytest.mark.parametrize("content", BAD)
def test_file_that_is_no_wav_is_an_input_error_with_a_hint(content: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.wav"
    path.write_bytes(content.encode("latin-1"))
    ran = stager("listen", str(path))
    assert ran.status == 2
    assert ran.err.startswith(f"{path}: {BAD[content]}")
    assert "hint: " in ran.err
    assert ran.out == ""


@pytest.mark.parametrize("name, message", [("missing.wav", "is not there"), (".", "is not a regular file"),
                                        ("/dev/zero", "is not a regular file")])  # fmt: skip
def test_missing_file_folder_and_device_are_refused(name: str, message: str, tmp_path: Path) -> None:
    ran = stager("listen", str(tmp_path / name))
    assert ran.status == 2
    assert message in ran.err


def test_truncated_files_are_read_or_refused(tmp_path: Path) -> None:
    _write(tmp_path / "whole.wav", "16")
    content = (tmp_path / "whole.wav").read_bytes()
    for share in (0.9, 0.5, 0.01, 0.0002):
        path = tmp_path / "cut.wav"
        path.write_bytes(content[: int(share * len(content))])
        ran = stager("listen", str(path), *PLACES, "--rpm", "2000:6000", "--json")
        assert ran.status in (0, 1, 2)
        if share > 0.6:
            assert json.loads(ran.out)["speed"]["value_m_s"] == pytest.approx(20.0, rel=0.01)


def test_large_file_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _write(tmp_path / "a.wav", "16")
    monkeypatch.setattr("stager.api.recording.LARGEST", 10_000)
    ran = stager("listen", str(tmp_path / "a.wav"))
    assert ran.status == 2
    assert "is larger than" in ran.err


WRONG = [
    (["--distance", "5"], "--distance"), (["--distance", "0 m"], "--distance"), (["--distance", "5 kg"], "--distance"),
    (["--microphone", "-1 m"], "--microphone"), (["--temperature", "900 degC"], "--temperature"),
    (["--rpm", "6000"], "--rpm"), (["--rpm", "6000:2000"], "--rpm"), (["--rpm", "nan:inf"], "--rpm"),
    (["--knock", "1.0"], "--knock"), (["--channel", "2"], "--channel"), (["--start", "9"], "nothing begins"),
    (["--start", "1", "--end", "0.5"], "at least"),
]  # fmt: skip


@pytest.mark.parametrize("options, message", WRONG, ids=lambda part: " ".join(part) if isinstance(part, list) else None)
def test_invalid_option_is_an_input_error(options: list[str], message: str, tmp_path: Path) -> None:
    _write(tmp_path / "a.wav", "16")
    ran = stager("listen", str(tmp_path / "a.wav"), *options)
    assert ran.status == 2
    assert message in ran.err


def _small_wav() -> bytes:
    parts = (b"RIFF", 36 + 4000, b"WAVE", b"fmt ", 16, 1, 1, 8000, 16_000, 2, 16, b"data", 4000)
    head = struct.pack("<4sI4s4sIHHIIHH4sI", *parts)
    return head + np.random.default_rng(6).integers(0, 256, 4000, dtype=np.uint8).tobytes()


@settings(max_examples=300)
@given(changes=st.lists(st.tuples(st.integers(0, 59), st.integers(0, 255)), max_size=6), length=st.integers(0, 4044))
def test_damaged_headers_are_read_or_refused(
    changes: list[tuple[int, int]], length: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    content = bytearray(_small_wav())
    for place, value in changes:
        content[place] = value
    path = tmp_path_factory.getbasetemp() / "damaged.wav"
    path.write_bytes(bytes(content[:length]))
    refused = ""
    try:
        found, sha256 = read_recording(path)
    except InputError as error:
        refused = str(error)
    if refused:
        assert refused.startswith(f"{path}: ")
        return
    assert found.samples.ndim == 1
    assert np.isfinite(found.samples).all()
    assert np.max(np.abs(found.samples)) <= 1
    assert len(sha256) == 64
