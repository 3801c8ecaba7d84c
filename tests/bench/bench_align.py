"""What placing a clinic's recordings on one clock costs, once their sound is decoded.

Four one-hour soundtracks with forty starts. The measured bar is 60 s for all of them; the ratio, of
processor seconds, is against one correlation of whole soundtracks, pair by pair, by scipy
(`scipy.signal.correlate` by FFT), in interleaved runs, so that a busy machine slows both. Each
runs in a process of its own, whose peak memory is measured whole (VmHWM): with a recording of one
hour it may take 500 MiB. Run as a script it prints JSON.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

HOUR_MIN = 60.0
RUNS = 3
MOST_S = 60.0
MOST_RATIO = 1.5
MOST_MIB = 500.0
CAMERAS_M = ((0.0, 2.0), (25.0, 3.0), (50.0, -1.0), (25.0, 24.0))
HEARD_SHARE = (0.98, 0.85, 0.70, 0.80)
SEED = 1


def make(folder: Path, count: int) -> dict[str, Any]:
    """The hall's soundtracks as files, as they lie on disk after decoding."""
    from tests.hall.hall import make_hall

    hall = make_hall(
        SEED,
        minutes=HOUR_MIN,
        starts=40,
        cameras_m=CAMERAS_M[:count],
        heard_share=HEARD_SHARE[:count],
    )
    facts = []
    for number, one in enumerate(hall.recordings):
        one.samples.tofile(folder / f"{number}.s16")
        facts.append([one.key, one.camera, one.rate_hz, one.travel_s])
    taps = [[start.key, start.tap_s] for start in hall.starts if start.tap_s is not None]
    (folder / "facts.json").write_text(json.dumps({"recordings": facts, "taps": taps}))
    return {"made": len(facts)}


def tracks(folder: Path, count: int) -> tuple[list[list[Any]], list[Any], list[list[Any]]]:
    """Facts of the first recordings, their samples memory-mapped, and the taps."""
    facts = json.loads((folder / "facts.json").read_text())
    recordings = facts["recordings"][:count]
    samples = [
        np.memmap(folder / f"{number}.s16", dtype=np.int16, mode="r")
        for number in range(len(recordings))
    ]
    return recordings, samples, facts["taps"]


def align(folder: Path, count: int) -> dict[str, Any]:
    """Seconds and the states that came out."""
    from clinics.compute.clockfit import RecordingIn, SwimIn
    from clinics.compute.oneclock import Soundtrack, place_all

    facts, samples, taps = tracks(folder, count)
    recordings = [
        RecordingIn(key, camera, track.size / rate_hz, 1 / 50)
        for (key, camera, rate_hz, _), track in zip(facts, samples, strict=True)
    ]
    soundtracks = [
        Soundtrack(key, track, rate_hz, travel_s)
        for (key, _, rate_hz, travel_s), track in zip(facts, samples, strict=True)
    ]
    swims = [SwimIn(key, tap_s, 0.15) for key, tap_s in taps]
    began, cpu = time.monotonic(), time.process_time()
    fit = place_all(recordings, swims, [], soundtracks).fit
    return {
        "took_s": time.monotonic() - began,
        "cpu_s": time.process_time() - cpu,
        "peak_mib": peak_mib(),
        "states": [fit.recordings[recording.key].state for recording in recordings],
    }


def correlate_whole(folder: Path, count: int) -> dict[str, Any]:
    """The reference: each pair of soundtracks by one correlation. (Wrong by tens of ms.)"""
    from scipy.signal import correlate, correlation_lags

    facts, samples, _ = tracks(folder, count)
    cpu, lags_s = time.process_time(), []
    for one, other in combinations(range(count), 2):
        found = correlate(
            samples[one].astype(np.float32), samples[other].astype(np.float32), method="fft"
        )
        lags = correlation_lags(samples[one].size, samples[other].size)
        lags_s.append(float(lags[int(np.abs(found).argmax())]) / facts[0][2])
    return {"cpu_s": time.process_time() - cpu, "lags_s": lags_s}


def peak_mib() -> float:
    """Of this program alone: getrusage's figure begins with that of the process that started it."""
    status = Path("/proc/self/status").read_text()
    [line] = [line for line in status.splitlines() if line.startswith("VmHWM:")]
    return int(line.split()[1]) / 1024


WORK = {"make": make, "align": align, "correlate": correlate_whole}


def in_a_process(what: str, folder: Path, count: int) -> dict[str, Any]:
    argv = [sys.executable, "-m", "tests.bench.bench_align", what, str(folder), str(count)]
    done = subprocess.run(argv, capture_output=True, text=True, check=True, timeout=400)
    result: dict[str, Any] = json.loads(done.stdout)
    return result


def compare(folder: Path, runs: int = RUNS) -> dict[str, Any]:
    """Pairs of runs, interleaved; then one recording alone for its memory."""
    in_a_process("make", folder, len(CAMERAS_M))
    ours, theirs = [], []
    for _ in range(runs):
        ours.append(in_a_process("align", folder, len(CAMERAS_M)))
        theirs.append(in_a_process("correlate", folder, len(CAMERAS_M)))
    ratios = [a["cpu_s"] / b["cpu_s"] for a, b in zip(ours, theirs, strict=True)]
    alone = in_a_process("align", folder, 1)
    return {
        "align_s": [round(one["took_s"], 2) for one in ours],
        "align_cpu_s": [round(one["cpu_s"], 2) for one in ours],
        "correlate_cpu_s": [round(one["cpu_s"], 2) for one in theirs],
        "ratio_median": round(statistics.median(ratios), 2),
        "states": ours[0]["states"],
        "four_recordings_mib": round(ours[0]["peak_mib"], 1),
        "one_recording_mib": round(alone["peak_mib"], 1),
        "one_recording_state": alone["states"],
    }


@pytest.mark.bench
def test_four_hours_of_sound_are_aligned_within_a_minute(tmp_path: Path) -> None:
    result = compare(tmp_path)
    print(json.dumps(result))
    assert result["states"] == ["sure"] * len(CAMERAS_M), "the work was done"
    assert statistics.median(result["align_s"]) <= MOST_S
    assert result["ratio_median"] <= MOST_RATIO
    assert result["one_recording_mib"] < MOST_MIB


def main(argv: list[str]) -> int:
    if argv:
        what, folder, count = argv[0], Path(argv[1]), int(argv[2])
        print(json.dumps(WORK[what](folder, count)))
        return 0
    with tempfile.TemporaryDirectory(prefix="bench-align-") as name:
        print(json.dumps(compare(Path(name)), indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
