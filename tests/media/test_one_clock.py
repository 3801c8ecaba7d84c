"""Both demo clinics, from their files to their clips, with nobody placing anything.

What is judged, and by what: the instant that is painted into every picture and the generator's
own truth; ffprobe for the times of frames; scipy's correlation on the decoded sound for arrivals;
the published speed of sound. Clocks and starts are judged after one common shift per clinic, since
taps are late as a whole and nothing in the demo measures that (design, "Time").
"""

from __future__ import annotations

import shutil
import subprocess
import wave
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import correlate

from clinics.compute.sound import travel_s
from clinics.management.demo.make import Truth, read_truth
from clinics.management.demo.painted import read
from clinics.management.demo.sound import SIGNALS
from tests.media.demo_site import (
    Float64,
    Recording,
    Site,
    bring_in,
    ended,
    files_by_station,
    set_up,
    shifted_log,
    started,
)

pytestmark = [pytest.mark.slow, pytest.mark.services, pytest.mark.timeout(900)]

CLINICS = ["harbour-autumn", "harbour-winter"]
ONE_BY_ONE = [pytest.param("harbour-autumn", marks=pytest.mark.long), "harbour-winter"]
"""Of the larger one test_cut_demo and test_whole_path read every clip in each run."""
BETWEEN_CAMERAS_S, START_S = 0.005, 0.005
OTHER_LANE_S = 0.05  # a horn some metres away from the starter's reaches each camera otherwise
SLOWER = 4.0
SEED = 4


# --- what is made once ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Drawing]]:
    drawings = {slug: Drawing(slug, tmp_path_factory.mktemp(slug)) for slug in CLINICS}
    yield drawings
    for one in drawings.values():
        one.stop()


class Drawing:
    """A clinic's files on their way, by the command that makes them."""

    def __init__(self, slug: str, folder: Path) -> None:
        self.slug, self.folder = slug, folder
        self.process: subprocess.Popen[str] | None = None

    def begin(self) -> None:
        if self.process is None:
            words = ("make_demo_media", str(self.folder / "demo"), "--clinic", self.slug)
            self.process = started(self.folder / "unused", *words, "--seed", str(SEED))

    def done(self) -> Truth:
        self.begin()
        assert self.process is not None
        if self.process.returncode is None:
            ended(self.process)
        truth = read_truth(self.folder / "demo")
        assert truth is not None
        return truth

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait()


@pytest.fixture(scope="module", params=ONE_BY_ONE)
def read_site(request: pytest.FixtureRequest, drawing: dict[str, Drawing]) -> Site:
    """A clinic whose recordings are all read, before any start log."""
    mine = drawing[request.param]
    truth = mine.done()
    site = set_up(mine.folder / "data", truth)
    bring_in(site, files_by_station(truth))
    return site


@dataclass(frozen=True)
class Aligned:
    """A site after `align`, with what that told and the report after it. `slow_motion`: the
    factor of files that were stretched; a file's name tells whose pictures it holds."""

    site: Site
    told: dict[str, Any]
    slow_motion: dict[str, float] = field(default_factory=dict)

    @cached_property
    def report(self) -> dict[str, Any]:
        return self.site.report()

    @cached_property
    def truths(self) -> dict[str, Recording]:
        """The truth of each recording, by its id in the portal."""
        truths = self.site.truth.data["recordings"]
        by_stem = {Path(row["files"][0]["name"]).stem: row for row in truths}
        return {
            row["id"]: Recording(
                by_stem[Path(row["files"][0]).stem], self.slow_motion.get(row["files"][0], 1.0)
            )
            for row in self.told["recordings"]
        }

    @property
    def rows(self) -> list[tuple[dict[str, Any], Recording]]:
        return [(row, self.truths[row["id"]]) for row in self.told["recordings"]]

    def off_s(self, row: dict[str, Any]) -> Float64:
        """Told minus true clinic time at the recording's begin, middle and end."""
        true = self.truths[row["id"]]
        media_s = np.array([0.0, 0.5, 1.0]) * float(true.media_s[-1])
        told = self.site.seconds(row["zero_at"]) + media_s * (1 + row["rate_ppm"] * 1e-6)
        return told - true.clinic_s(media_s)

    @cached_property
    def common_s(self) -> float:
        """The one shift of the clinic: the median over the clocks that heard the starts."""
        rows = [row for row, true in self.rows if true.hears and row["u_ms"]]
        return float(np.median([self.off_s(row)[1] for row in rows]))

    def off_the_others_s(self, row: dict[str, Any]) -> Float64:
        """Off the line that the clocks of all who hear the starts make together: taps cannot tell
        at which rate all cameras run fast or slow as one."""
        hearing = [(one, true) for one, true in self.rows if true.hears and one["u_ms"]]
        at_s = np.concatenate([self._clinic_s(true) for _one, true in hearing])
        off_s = np.concatenate([self.off_s(one) for one, _true in hearing])
        line = np.polynomial.Polynomial.fit(at_s, off_s, 1)
        off: Float64 = self.off_s(row) - line(self._clinic_s(self.truths[row["id"]]))
        return off

    def _clinic_s(self, true: Recording) -> Float64:
        return true.clinic_s(np.array([0.0, 0.5, 1.0]) * float(true.media_s[-1]))


def aligned(site: Site, *words: str) -> Aligned:
    return Aligned(site, site.align(*words))


@pytest.fixture(scope="module")
def alone(read_site: Site) -> Aligned:
    """The clinic with its start log, aligned, nothing placed by hand."""
    site = read_site.copied(read_site.data.parent / "alone")
    site.log()
    return aligned(site)


@pytest.fixture(scope="module")
def cut(alone: Aligned) -> Iterator[Aligned]:
    """The same, cut as it is once aligned: not what only a file's date places. Its files go when
    the tests are through."""
    alone.site.shell(
        "from clinics.actions.cut import plan_cuts",
        "from clinics.models import Clinic",
        "told = plan_cuts(clinic=Clinic.objects.get())",
    )
    alone.site.work_off()
    yield Aligned(alone.site, alone.told)
    shutil.rmtree(alone.site.data, ignore_errors=True)


# --- clocks --------------------------------------------------------------------------------------


def nobody_is_wrong_and_sure(found: Aligned) -> None:
    for row, _true in found.rows:
        if row["state"] == "sure":
            assert np.abs(found.off_the_others_s(row)).max() < BETWEEN_CAMERAS_S, row


def all_who_hear_are_sure_and_right(found: Aligned) -> None:
    nobody_is_wrong_and_sure(found)
    for row, true in found.rows:
        if true.hears:
            assert row["state"] == "sure", row


def test_cameras_that_hear_are_sure_and_right(alone: Aligned) -> None:
    all_who_hear_are_sure_and_right(alone)
    for row, true in alone.rows:
        if true.hears:
            assert np.abs(alone.off_s(row) - alone.common_s).max() < BETWEEN_CAMERAS_S, row
    assert 0.0 < alone.common_s < 0.4, "taps are late by 0.20 s ± 0.08, and by nothing else"


def test_what_is_told_of_each_clock_holds_the_truth(alone: Aligned) -> None:
    for row, true in alone.rows:
        if true.hears:
            u_s = np.array([row["u_begin_ms"], row["u_mid_ms"], row["u_end_ms"]]) / 1000
            assert (np.abs(alone.off_s(row) - alone.common_s) < 4 * u_s + 0.001).all(), row
            assert u_s.max() < 0.02, "so wide that it says nothing"
            rate_off_s = (row["rate_ppm"] - true.row["rate_ppm"]) * 1e-6 * true.media_s[-1]
            assert abs(rate_off_s) < BETWEEN_CAMERAS_S, row
            assert len([tie for tie in row["ties"] if not tie["set_aside"]]) >= 3


def test_silent_camera_needs_a_look(alone: Aligned) -> None:
    silent = [row for row, true in alone.rows if not true.hears]
    assert len(silent) == (1 if alone.site.slug == "harbour-autumn" else 0)
    for row in silent:
        assert row["state"] in {"look", "not-found"}
        assert row["reason"], "a person is told what to do"


def test_ties_lie_where_scipy_hears_the_signal(alone: Aligned) -> None:
    """Each heard start's tie against the emitted signal's best correlation with the file's own
    sound, decoded by ffmpeg at 48 kHz. One lag for all: where in the signal its onset is taken."""
    lags_s = []
    for row, true in alone.rows:
        if not true.hears or len(true.row["files"]) > 1:
            continue
        sound = sound_of(alone.site.truth.files_of(true.row)[0])
        for tie in row["ties"]:
            if tie["kind"] == "start-heard" and not tie["set_aside"]:
                media_s = tie["ticks"] / 90_000
                lags_s.append(media_s - arrival_near(sound, media_s, alone.site))
    assert len(lags_s) >= 10
    assert np.abs(np.array(lags_s) - np.median(lags_s)).max() < 0.003, lags_s


def sound_of(path: Path) -> Float64:
    """The samples at 48 kHz from the first frame on."""
    told = subprocess.run(
        [*"ffprobe -v error -show_entries stream=codec_type,start_time -of csv=p=0".split(), path],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    begin = {kind: float(at.strip(",")) for kind, at in (line.split(",", 1) for line in told)}
    raw = subprocess.run(
        [
            "ffmpeg",
            "-nostdin",
            "-v",
            "error",
            "-i",
            path,
            *"-map 0:a -ac 1 -ar 48000 -f f32le -".split(),
        ],
        capture_output=True,
        check=True,
    ).stdout
    sound = np.frombuffer(raw, "<f4").astype(float)
    lead = round((begin["audio"] - begin["video"]) * 48_000)
    return np.concatenate([np.zeros(lead), sound]) if lead > 0 else sound[-lead:]


def arrival_near(sound: Float64, media_s: float, site: Site) -> float:
    """Where the emitted signal correlates best, within a tenth of a second."""
    signal = SIGNALS[site.truth.data["signal"]["name"]]
    template = signal.at(np.arange(round(signal.length_s * 48_000)) / 48_000)
    first = max(round((media_s - 0.1) * 48_000), 0)
    piece = sound[first : first + len(template) + 9600]
    return (first + int(np.argmax(np.abs(correlate(piece, template, mode="valid"))))) / 48_000


@pytest.mark.parametrize(("celsius", "ms"), [(0, 75.46), (20, 72.84), (25, 72.23), (30, 71.63)])
def test_sound_takes_as_long_as_published(celsius: float, ms: float) -> None:
    """25 m of air by 331.3 sqrt(1 + T / 273.15) m/s (ideal gas, dry air)."""
    told = travel_s((0.0, 0.0, 1.5), (25.0, 0.0, 1.5), celsius)
    assert 1000 * told == pytest.approx(ms, abs=0.005)


# --- starts --------------------------------------------------------------------------------------


def test_starts_are_as_heard_and_not_as_tapped(alone: Aligned) -> None:
    site, true = alone.site, {swim["number"]: swim for swim in alone.site.truth.data["swims"]}
    swims = alone.report["swims"]
    logged = {n for n, swim in true.items() if swim["tapped_at"] and swim["filmed"]}
    assert {swim["number"] for swim in swims} == logged
    off_s = np.array([site.seconds(s["start_at"]) - true[s["number"]]["start_s"] for s in swims])
    assert {swim["start_kind"] for swim in swims} == {"heard"}
    assert np.abs(off_s - alone.common_s).max() < START_S
    assert all(swim["start_u_ms"] < 20 for swim in swims)


HEARD = (
    "from clinics.models import HeardStart",
    "rows = HeardStart.objects.order_by('instant')",
    "told = [row.instant.isoformat() for row in rows]",
)


def test_start_that_nobody_tapped_is_heard_and_becomes_a_swim(
    read_site: Site, alone: Aligned
) -> None:
    """Another lane's practice start may be proposed as well: it is never anybody's start."""
    site, data = alone.site, alone.site.truth.data
    heard_s = np.array([site.seconds(at) for at in site.shell(*HEARD)]) - alone.common_s
    missing = [swim for swim in data["swims"] if not swim["tapped_at"]]
    for swim in missing:
        assert np.abs(heard_s - swim["start_s"]).min() < START_S
    emitted_s = np.array([one["emitted_s"] for one in data["emissions"]])
    for at in heard_s:
        assert np.abs(emitted_s - at).min() < OTHER_LANE_S, "something else was taken for a start"
    for one in data["emissions"]:
        if one["swimmer"] is None:
            starts_s = [site.seconds(s["start_at"]) - alone.common_s for s in alone.report["swims"]]
            assert min(abs(one["emitted_s"] - at) for at in starts_s) > 5


def test_without_any_start_log_the_starts_that_are_heard_are_the_starts(read_site: Site) -> None:
    """In their order, whatever the dates of the files say; another lane's among them."""
    site = read_site.copied(read_site.data.parent / "no-log")
    told = site.align()
    assert all(row["state"] != "sure" for row in told["recordings"]), "nothing says when it was"
    heard_s = np.array([site.seconds(at) for at in site.shell(*HEARD)])
    emissions = site.truth.data["emissions"]
    assert len(heard_s) == len(emissions)
    off_s = heard_s - np.array([one["emitted_s"] for one in emissions])
    off_s -= np.median(off_s)
    own = np.array([one["swimmer"] is not None for one in emissions])
    assert np.abs(off_s[own]).max() < START_S, off_s
    assert np.abs(off_s).max() < OTHER_LANE_S, off_s


WRONG_PHONES = {
    "harbour-autumn": (3 * 3600 + 17.3, "+05:30"),
    "harbour-winter": (-7201.9, "-03:00"),
}


def test_log_of_a_phone_that_is_hours_off_and_in_another_zone(read_site: Site) -> None:
    by_s, offset = WRONG_PHONES[read_site.slug]
    site = read_site.copied(read_site.data.parent / "wrong-phone")
    site.log(shifted_log(site.truth, by_s=by_s, offset=offset))
    found = aligned(site)
    all_who_hear_are_sure_and_right(found)
    assert by_s < found.common_s < by_s + 0.4


# --- clips ---------------------------------------------------------------------------------------


def painted_in(path: Path, height: int) -> list[int | None]:
    """The painted instants of a file's pictures, decoded by ffmpeg as it comes."""
    width, rows = height * 16 // 9, height // 20
    raw = subprocess.run(
        ["ffmpeg", "-nostdin", "-v", "error", "-i", str(path), "-vf", f"crop=iw:{rows}:0:0"]
        + "-fps_mode passthrough -f rawvideo -pix_fmt gray -".split(),
        capture_output=True,
        check=True,
    ).stdout
    return [read(f) for f in np.frombuffer(raw, dtype=np.uint8).reshape(-1, rows, width)]


def frame_times_s(path: Path) -> Float64:
    """Times of a file's frames from its first, by ffprobe."""
    told = subprocess.run(
        "ffprobe -v error -select_streams v -show_entries packet=pts_time -of csv=p=0".split()
        + [str(path)],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    times_s = np.sort([float(line.strip(",")) for line in told])
    return times_s - times_s[0]


@dataclass(frozen=True)
class Shown:
    """A clip: what its pictures show (seconds from the truth epoch), and what the portal says."""

    row: dict[str, Any]
    true: Recording
    painted_s: Float64
    told_swim_s: Float64
    """When, after its swim's start, the portal says that each picture was taken."""


def shown_in(found: Aligned, *, hearing: bool) -> list[Shown]:
    """All clips of the cameras that hear, or of those that do not, each decoded once."""
    report = found.report
    starts = {swim["id"]: found.site.seconds(swim["start_at"]) for swim in report["swims"]}
    clocks = {row["id"]: row for row in report["recordings"]}
    rows = [row for row in report["clips"] if found.truths[row["recording"]].hears == hearing]
    assert {row["state"] for row in rows} == {"ready"}
    paths = [found.site.data / "media" / row["renditions"][0]["path"] for row in rows]
    with ThreadPoolExecutor(2) as pool:
        painted = list(
            pool.map(painted_in, paths, [row["renditions"][0]["height"] for row in rows])
        )
        times_s = list(pool.map(frame_times_s, paths))
    clips = []
    for row, shown, at_s in zip(rows, painted, times_s, strict=True):
        true, clock = found.truths[row["recording"]], clocks[row["recording"]]
        frames = slice(row["first_frame"], row["first_frame"] + row["frames"])
        assert shown == true.row["painted"][frames], "not the pictures that were planned"
        media_s = true.media_s[frames]
        assert np.abs(at_s - (media_s - media_s[0])).max() < 1e-4
        told_s = found.site.seconds(clock["zero_at"]) + media_s * (1 + clock["rate_ppm"] * 1e-6)
        clips.append(Shown(row, true, true.painted_s[frames], told_s - starts[row["swim"]]))
    return clips


def off_the_truth(found: Aligned, clip: Shown) -> float:
    """By how much the portal is wrong about when, in the swim, the clip's pictures were taken."""
    swims = {swim["number"]: swim["start_s"] for swim in found.site.truth.data["swims"]}
    true_swim_s = clip.painted_s - swims[clip.row["number"]]
    return float(np.abs(clip.told_swim_s - true_swim_s).max())


def passes_within(found: Aligned, *, hearing: bool) -> set[tuple[int, str, int]]:
    """Passes (number, station, pass) whose very instant some recording holds."""
    recordings = [true for true in found.truths.values() if true.hears == hearing]
    return {
        (swim["number"], station["station"], one["pass"])
        for swim in found.site.truth.data["swims"]
        if swim["tapped_at"] and swim["filmed"]
        for station in swim["stations"]
        for one in station["passes"]
        for true in recordings
        if true.row["station"] == station["station"]
        and true.painted_s[0] < swim["start_s"] + one["swim_s"] < true.painted_s[-1]
    }


def test_every_pass_has_its_clip_within_a_frame_of_the_truth(cut: Aligned) -> None:
    clips = shown_in(cut, hearing=True)
    made = {(c.row["number"], c.row["station"], c.row["pass"]) for c in clips}
    wanted = passes_within(cut, hearing=True)
    assert wanted <= made
    late = {key for key in made - wanted if key[1] == "deck"}  # camera on after the start
    assert made - wanted == late and len(late) <= 1
    for clip in clips:
        assert clip.row["time_state"] == "sure"
        assert off_the_truth(cut, clip) < clip.true.frame_s, clip.row
    for number, station, pass_no in wanted:
        the_pass_is_in_the_picture(cut, clips, number, station, pass_no)
    nobody_sees_who_did_not_agree(cut, clips)


def the_pass_is_in_the_picture(
    found: Aligned, clips: list[Shown], number: int, station: str, pass_no: int
) -> None:
    """The very instant of the pass lies within the clip."""
    key = (number, station, pass_no)
    (clip,) = [c for c in clips if (c.row["number"], c.row["station"], c.row["pass"]) == key]
    swim = next(s for s in found.site.truth.data["swims"] if s["number"] == number)
    passes = next(s for s in swim["stations"] if s["station"] == station)["passes"]
    at_s = swim["start_s"] + passes[pass_no - 1]["swim_s"]
    assert clip.painted_s[0] <= at_s <= clip.painted_s[-1], key


def nobody_sees_who_did_not_agree(found: Aligned, clips: list[Shown]) -> None:
    """From when they step onto the block until they have left the picture."""
    hidden = [swim for swim in found.site.truth.data["swims"] if not swim["filmed"]]
    assert len(hidden) == (1 if found.site.slug == "harbour-winter" else 0)
    for swim in hidden:
        from_s, to_s = (swim["start_s"] + at for at in swim["in_hall_s"])
        for clip in clips:
            assert not ((clip.painted_s >= from_s) & (clip.painted_s <= to_s)).any(), clip.row
    numbers = {clip.row["number"] for clip in clips}
    assert not numbers & {swim["number"] for swim in hidden}


# --- the silent camera ---------------------------------------------------------------------------


def test_one_tie_by_hand_places_the_silent_camera_within_a_frame(cut: Aligned) -> None:
    """The tie that the demo's ties.json holds: the frame in which the starter's lamp is lit."""
    if all(true.hears for true in cut.truths.values()):
        return
    before = {clip["id"]: clip["renditions"] for clip in cut.report["clips"]}
    placed = aligned(cut.site, "--ties", str(cut.site.truth.folder / "ties.json"))
    nobody_is_wrong_and_sure_but_silent(placed)
    cut.site.manage("cut", cut.site.slug)
    cut.site.work_off()
    silent = shown_in(placed, hearing=False)
    made = {(c.row["number"], c.row["station"], c.row["pass"]) for c in silent}
    assert made == passes_within(placed, hearing=False)
    for clip in silent:
        assert off_the_truth(placed, clip) < clip.true.frame_s, clip.row
    after = {clip["id"]: clip["renditions"] for clip in placed.report["clips"]}
    assert {pk: after[pk] for pk in before} == before, "clips were made again"
    assert len(after) == len(before) + len(silent)


def nobody_is_wrong_and_sure_but_silent(found: Aligned) -> None:
    for row, true in found.rows:
        off_s = np.abs(found.off_s(row) - found.common_s).max()
        assert off_s < (BETWEEN_CAMERAS_S if true.hears else true.frame_s), row


# --- slow motion ---------------------------------------------------------------------------------


def test_slow_motion_asks_for_its_factor_and_then_aligns(read_site: Site, tmp_path: Path) -> None:
    """A second camera on the deck wrote four seconds for one, pictures and sound alike."""
    if read_site.slug != "harbour-winter":
        return
    (source,) = files_by_station(read_site.truth)["deck"]
    slow = tmp_path / source.with_suffix(".MOV").name
    stretch(source, slow)
    site = read_site.copied(read_site.data.parent / "slow-motion")
    site.log()
    site.manage("bring_in", site.slug, "deck", str(slow), "--camera", "Deck phone")
    site.work_off()
    row = recording_of(site.align(), slow)
    assert row["state"] == "not-found" and "slow motion" in row["reason"], row
    site.shell(
        "from clinics.actions.slow_motion import set_slow_motion",
        "from clinics.models import Recording",
        f"recording = Recording.objects.get(pk='{row['id']}')",
        f"told = set_slow_motion(recording=recording, factor={SLOWER}, by=None)",
    )
    all_who_hear_are_sure_and_right(Aligned(site, site.align(), {slow.name: SLOWER}))


def stretch(source: Path, target: Path) -> None:
    """As a phone does: the same pictures SLOWER times as far apart, the sound as much deeper."""
    sound = target.with_suffix(".wav")
    with wave.open(str(sound), "wb") as file:
        file.setparams((1, 2, round(48_000 / SLOWER), 0, "NONE", ""))
        file.writeframes(np.rint(sound_of(source) * 32767).astype("<i2").tobytes())
    times = f"setts=pts=(PTS-STARTPTS)*{SLOWER}:dts=(DTS-STARTPTS)*{SLOWER}"
    argv = ["ffmpeg", "-nostdin", "-v", "error", "-i", str(source), "-i", str(sound)]
    argv += f"-map 0:v -map 1:a -c:v copy -bsf:v {times} -c:a copy {target}".split()
    subprocess.run(argv, check=True, capture_output=True)
    sound.unlink()


def recording_of(told: dict[str, Any], path: Path) -> dict[str, Any]:
    (row,) = [row for row in told["recordings"] if row["files"] == [path.name]]
    return row
