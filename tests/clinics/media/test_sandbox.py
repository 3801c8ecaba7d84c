"""The box around the media tools: limits, names, and that nothing outlives us."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from clinics.media import sandbox
from clinics.media.errors import MediaError, SandboxMissing, Stopped, TimedOut, TooLarge
from clinics.media.sandbox import Limits, input_token, output_token, run_tool
from tests.media.film import make_film

LIMITS = Limits()
BOTH = pytest.mark.parametrize("boxed", [True, False], ids=["sandbox", "no-sandbox"])


@pytest.fixture
def unboxed(monkeypatch: pytest.MonkeyPatch) -> Callable[[bool], None]:
    def choose(boxed: bool) -> None:
        if boxed and not sandbox.sandbox_available():
            pytest.skip("bubblewrap does not work on this machine")
        monkeypatch.setattr(sandbox, "sandbox_available", lambda: boxed)

    return choose


@BOTH
def test_tool_sees_inputs_under_our_names_only(
    boxed: bool, unboxed: Callable[[bool], None], tmp_path: Path
) -> None:
    unboxed(boxed)
    odd = tmp_path / "-i concat:a|b\n.mp4"
    odd.write_text("in the file")
    out = tmp_path / "out"
    out.mkdir()
    result = run_tool(
        ["sh", "-c", f"cat {input_token(0)}; cat {input_token(0)} > {output_token('copy')}"],
        inputs=[odd],
        output_dir=out,
        limits=LIMITS,
    )
    assert (result.returncode, result.stdout) == (0, b"in the file")
    assert (out / "copy").read_text() == "in the file"


def test_box_has_no_network_and_no_other_files(
    unboxed: Callable[[bool], None], tmp_path: Path
) -> None:
    unboxed(True)
    secret = tmp_path / "secret"
    secret.write_text("x")
    listed = run_tool(
        ["sh", "-c", f"cat {secret}; cat /etc/passwd; cat /proc/net/dev; echo $HOME"],
        inputs=[],
        limits=LIMITS,
    )
    assert listed.stdout == b"\n" and listed.stderr.count("No such file") == 3
    written = run_tool(["sh", "-c", f"echo x > {input_token(0)}"], inputs=[secret], limits=LIMITS)
    assert written.returncode != 0 and secret.read_text() == "x"


@BOTH
def test_time_out_and_stop_end_the_whole_group(
    boxed: bool, unboxed: Callable[[bool], None], tmp_path: Path
) -> None:
    unboxed(boxed)
    started = time.monotonic()
    with pytest.raises(TimedOut):
        run_tool(["sh", "-c", "sleep 77 & sleep 77"], inputs=[], limits=LIMITS, wall_s=0.5)
    with pytest.raises(Stopped):
        run_tool(
            ["sleep", "78"],
            inputs=[],
            limits=LIMITS,
            should_stop=lambda: time.monotonic() > started + 1.0,
        )
    assert time.monotonic() - started < 10
    assert _eventually(lambda: not list(_running("sleep 77")) + list(_running("sleep 78")))


@BOTH
def test_resource_limits_hold(boxed: bool, unboxed: Callable[[bool], None], tmp_path: Path) -> None:
    unboxed(boxed)
    small = dataclasses.replace(LIMITS, file_size_bytes=100_000, cpu_s=1, open_files=32)
    write = ["dd", "if=/dev/zero", f"of={output_token('big')}", "bs=1000", "count=1000"]
    with pytest.raises(TooLarge):
        run_tool(write, inputs=[], output_dir=tmp_path, limits=small)
    assert (tmp_path / "big").stat().st_size <= 100_000
    with pytest.raises(TimedOut):
        run_tool(["sh", "-c", "while :; do :; done"], inputs=[], limits=small, wall_s=20)
    shown = run_tool(["sh", "-c", "ulimit -n; ulimit -v; nice"], inputs=[], limits=small)
    assert shown.stdout.split()[:2] == [b"32", str(small.address_space_bytes // 1024).encode()]
    assert int(shown.stdout.split()[2]) >= small.nice


def test_memory_limit_is_said_plainly(tmp_path: Path) -> None:
    film = make_film(tmp_path / "a.mp4", count=5, video=("-c:v", "libx264"))
    tight = dataclasses.replace(LIMITS, address_space_bytes=60 << 20)
    result: object = None
    try:
        result = run_tool(
            ["ffmpeg", "-nostdin", "-v", "error", "-i", input_token(0), "-f", "null", "-"],
            inputs=[film],
            limits=tight,
        ).returncode
    except MediaError as error:
        result = error
    assert result != 0


def test_sandbox_demanded_and_missing(unboxed: Callable[[bool], None]) -> None:
    unboxed(False)
    with pytest.raises(SandboxMissing) as caught:
        run_tool(["true"], inputs=[], limits=LIMITS, require_sandbox=True)
    assert "bubblewrap" in caught.value.message


def test_progress_comes_line_by_line() -> None:
    lines: list[str] = []
    run_tool(
        ["sh", "-c", "printf 'frame=1\\nfra'; sleep 0.1; printf 'me=2\\n'"],
        inputs=[],
        limits=LIMITS,
        on_progress=lines.append,
    )
    assert lines == ["frame=1", "frame=2"]


RENDER = """
import sys
from pathlib import Path
if sys.argv[3] == "no-sandbox":
    import clinics.media.sandbox as sandbox
    sandbox.sandbox_available = lambda: False
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.render import render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.take import Take
path, folder = Path(sys.argv[1]), Path(sys.argv[2])
take = Take((path,), (probe(path, shown_name=path.name),))
index = index_take(take, work_dir=folder)
print("rendering", flush=True)
render_clip(take, index.frame_pts, 0, len(index.frame_pts), renditions=[RenditionSpec(720)],
            out_dir=folder, work_dir=folder)
print("done", flush=True)
"""


@BOTH
def test_no_tool_outlives_a_killed_parent(
    boxed: bool, unboxed: Callable[[bool], None], tmp_path: Path
) -> None:
    """Kill -9 of the parent during rendering; the kernel ends the tools."""
    unboxed(boxed)
    film = make_film(
        tmp_path / "long.mp4",
        count=300,
        size=(1280, 720),
        video=("-c:v", "libx264", "-preset", "ultrafast"),
    )
    mode = "sandbox" if boxed else "no-sandbox"
    for delay_s in (0.0, 0.15, 0.4):
        parent = subprocess.Popen(
            [sys.executable, "-c", RENDER, str(film), str(tmp_path), mode],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert parent.stdout is not None and parent.stdout.readline() == "rendering\n"
        time.sleep(delay_s)
        tools = _below(parent.pid)
        os.kill(parent.pid, signal.SIGKILL)
        said = parent.stdout.read()
        parent.wait()
        parent.stdout.close()
        assert said == "", "the render had not ended when it was killed"
        assert _eventually(lambda tools=tools: not any(_alive(tool) for tool in tools))
    assert _eventually(lambda: not list(_running(str(tmp_path))))


def _below(pid: int) -> list[psutil.Process]:
    return psutil.Process(pid).children(recursive=True)


def _alive(process: psutil.Process) -> bool:
    try:
        return process.is_running() and process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def _running(part: str) -> Iterator[psutil.Process]:
    for process in psutil.process_iter(["cmdline"]):
        if part in " ".join(process.info["cmdline"] or []):
            yield process


def _eventually(condition: Callable[[], bool], within_s: float = 5.0) -> bool:
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.05)
    return condition()
