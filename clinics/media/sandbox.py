"""The one place that starts ffmpeg and ffprobe.

Files come from strangers' cameras, and a media library is a large parser written in C. So every
run is boxed in: bubblewrap without network, the inputs bound read-only under
names that we made, one folder to write to, resource limits, low priority, a wall clock. And no
run outlives us: the kernel kills it when this process dies, however it dies.

The argv that callers give speaks of files by tokens (`input_token(0)`, `output_token("a.mp4")`),
never by path: the tokens become server-made names, so that no file name that a person chose can
be read as an option, a protocol or a playlist.
"""

from __future__ import annotations

import contextlib
import functools
import os
import selectors
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from clinics.media.errors import Damaged, MediaError, SandboxMissing, Stopped, TimedOut, TooLarge

GIB = 1 << 30
STDERR_KEPT_BYTES = 64 << 10
POLL_S = 0.2
_INPUT_MARK = "@in/"
_OUTPUT_MARK = "@out/"


@dataclass(frozen=True)
class Limits:
    """What one run of a media tool, and one recording, may take at most.

    The defaults let through what a consumer camera writes (4K, six hours, 64 GiB).
    """

    wall_s: float = 3 * 3600.0
    cpu_s: int = 12 * 3600
    address_space_bytes: int = 8 * GIB
    file_size_bytes: int = 16 * GIB
    open_files: int = 256
    max_pixels: int = 4096 * 3072
    max_streams: int = 16
    max_duration_s: float = 6 * 3600.0
    max_size_bytes: int = 64 * GIB
    max_files: int = 64
    probe_wall_s: float = 60.0
    nice: int = 10
    threads: int = field(default_factory=lambda: max(1, min(os.cpu_count() or 1, 8)))


@dataclass(frozen=True)
class ToolResult:
    """How a tool ended. ``stderr`` is the tail; ``stdout`` is empty if it was streamed."""

    returncode: int
    stdout: bytes
    stderr: str
    wall_s: float


def input_token(index: int) -> str:
    """The name by which argv speaks of the index-th input."""
    return f"{_INPUT_MARK}{input_name(index)}"


def input_name(index: int) -> str:
    """The bare server-made name of the index-th input, all inputs lying in one folder."""
    return f"in{index:03d}"


def output_token(name: str) -> str:
    """The name by which argv speaks of a file in the output folder."""
    return f"{_OUTPUT_MARK}{name}"


def run_tool(
    argv: Sequence[str],
    *,
    inputs: Sequence[Path],
    output_dir: Path | None = None,
    limits: Limits,
    require_sandbox: bool = False,
    on_progress: Callable[[str], None] | None = None,
    on_stdout: Callable[[bytes], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    wall_s: float | None = None,
    stderr_kept_bytes: int = STDERR_KEPT_BYTES,
) -> ToolResult:
    """Run ``ffmpeg`` or ``ffprobe`` boxed in, and wait for it.

    ``on_progress`` gets each line of standard output (ffmpeg's `-progress pipe:1`);
    ``on_stdout`` gets its raw bytes. Without either, standard output is collected. Raises
    TimedOut, Stopped, SandboxMissing, TooLarge (killed for its use of memory, processor or disk);
    another exit code than 0 is the caller's to judge: only the caller knows what it was reading.
    """
    boxed = sandbox_available()
    if require_sandbox and not boxed:
        raise SandboxMissing(
            "The sandbox for media tools (bubblewrap) is demanded by setting and does not work "
            "here: install bubblewrap, or allow user namespaces, then try again."
        )
    limit_s = limits.wall_s if wall_s is None else wall_s
    with _named_inputs(inputs, linked=not boxed) as input_dir:
        command = _command(argv, inputs, input_dir, output_dir, limits, boxed)
        return _supervise(command, limit_s, on_progress, on_stdout, should_stop, stderr_kept_bytes)


@functools.cache
def sandbox_available() -> bool:
    """Whether bubblewrap works here: tried once with the very binds that the tools will get."""
    if shutil.which("bwrap") is None or shutil.which("ffprobe") is None:
        return False
    command = [*_box((), Path("/in"), None), "ffprobe", "-version"]
    try:
        done = subprocess.run(command, capture_output=True, timeout=20, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


@contextlib.contextmanager
def _named_inputs(inputs: Sequence[Path], *, linked: bool) -> Iterator[Path]:
    """The folder in which the inputs stand under our names, as the tool will see it."""
    if not linked:
        yield Path("/in")
        return
    with tempfile.TemporaryDirectory(prefix="sidelane-in-") as folder:
        for index, path in enumerate(inputs):
            (Path(folder) / input_name(index)).symlink_to(path.resolve(strict=True))
        yield Path(folder)


def _command(
    argv: Sequence[str],
    inputs: Sequence[Path],
    input_dir: Path,
    output_dir: Path | None,
    limits: Limits,
    boxed: bool,
) -> list[str]:
    """The whole argv: parent-death signal, limits, box, tool."""
    shown_output = Path("/out") if boxed else output_dir
    named = [_named(word, input_dir, shown_output) for word in argv]
    box = _box(inputs, input_dir, output_dir) if boxed else []
    return [*_limited(limits), *box, *named]


def _named(word: str, input_dir: Path, output_dir: Path | None) -> str:
    word = word.replace(_INPUT_MARK, f"{input_dir}/")
    if _OUTPUT_MARK in word:
        if output_dir is None:
            raise ValueError("argv writes a file, but run_tool was given no output_dir")
        word = word.replace(_OUTPUT_MARK, f"{output_dir}/")
    return word


def _limited(limits: Limits) -> list[str]:
    """Wrappers that set limits by exec, one into the next, so that the pid stays ours.

    Not preexec_fn: a fork of a threaded web process must not run Python between fork and exec.
    The kernel's parent-death signal is set first, then the shell looks whether the parent is still
    the one that started us: if we died in between, the tool never starts.
    """
    if shutil.which("setpriv") is None or shutil.which("prlimit") is None:
        raise MediaError(
            "setpriv and prlimit (package util-linux) are missing: without them a media tool "
            "could outlive its worker. Install util-linux.",
            reason_code="tools-missing",
        )
    return [
        "setpriv", "--pdeathsig", "KILL", "--",
        "sh", "-c", 'test "$PPID" = "$0" || exit 125; exec "$@"', str(os.getpid()),
        "prlimit", f"--as={limits.address_space_bytes}", f"--cpu={limits.cpu_s}",
        f"--fsize={limits.file_size_bytes}", f"--nofile={limits.open_files}", "--core=0", "--",
        "nice", "-n", str(limits.nice),
    ]  # fmt: skip


def _box(inputs: Sequence[Path], input_dir: Path, output_dir: Path | None) -> list[str]:
    """bubblewrap's argv: system libraries and the inputs to read, one folder to write."""
    argv = [
        "bwrap", "--unshare-all", "--die-with-parent", "--new-session", "--cap-drop", "ALL",
        "--clearenv", "--setenv", "PATH", "/usr/local/bin:/usr/bin:/bin", "--setenv", "LC_ALL", "C",
        "--ro-bind", "/usr", "/usr",
    ]  # fmt: skip
    for folder in ("/bin", "/lib", "/lib64"):
        argv += _same_link_or_bind(Path(folder))
    for wanted in ("/etc/ld.so.cache", "/etc/alternatives"):
        argv += ["--ro-bind-try", wanted, wanted]
    argv += ["--dev", "/dev", "--tmpfs", "/tmp", "--dir", str(input_dir)]  # noqa: S108 - inside the box
    for index, path in enumerate(inputs):
        source = str(path.resolve(strict=True))
        argv += ["--ro-bind", source, str(input_dir / input_name(index))]
    if output_dir is not None:
        argv += ["--bind", str(output_dir.resolve(strict=True)), "/out"]
    return [*argv, "--chdir", "/", "--"]


def _same_link_or_bind(folder: Path) -> list[str]:
    if folder.is_symlink():
        return ["--symlink", str(folder.readlink()), str(folder)]
    return ["--ro-bind-try", str(folder), str(folder)]


class _Lines:
    """Cuts a byte stream into lines for a callback."""

    def __init__(self, each: Callable[[str], None]) -> None:
        self.each = each
        self.rest = b""

    def __call__(self, chunk: bytes) -> None:
        *lines, self.rest = (self.rest + chunk).split(b"\n")
        for line in lines:
            self.each(line.decode("utf-8", "replace").strip())


def _supervise(
    command: list[str],
    wall_s: float,
    on_progress: Callable[[str], None] | None,
    on_stdout: Callable[[bytes], None] | None,
    should_stop: Callable[[], bool] | None,
    stderr_kept_bytes: int,
) -> ToolResult:
    """Start the command in a group of its own and see it to its end, whatever happens here."""
    collected = bytearray()
    consume = on_stdout or (_Lines(on_progress) if on_progress else collected.extend)
    stderr_tail = bytearray()
    started = time.monotonic()
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        env={"PATH": os.environ.get("PATH", "/usr/bin:/bin"), "LC_ALL": "C"},
    )
    with process:
        try:
            _pump(
                process,
                started + wall_s,
                wall_s,
                consume,
                stderr_tail,
                stderr_kept_bytes,
                should_stop,
            )
            process.wait(timeout=10)
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
    result = ToolResult(
        returncode=process.returncode,
        stdout=bytes(collected),
        stderr=bytes(stderr_tail).decode("utf-8", "replace"),
        wall_s=time.monotonic() - started,
    )
    _raise_if_over_limit(result)
    return result


def _pump(
    process: subprocess.Popen[bytes],
    deadline: float,
    wall_s: float,
    consume: Callable[[bytes], object],
    stderr_tail: bytearray,
    stderr_kept_bytes: int,
    should_stop: Callable[[], bool] | None,
) -> None:
    """Read both pipes until they close; check clock and stop flag several times a second."""
    next_look = 0.0
    with selectors.DefaultSelector() as selector:
        selector.register(process.stdout, selectors.EVENT_READ, consume)  # type: ignore[arg-type]
        selector.register(process.stderr, selectors.EVENT_READ, None)  # type: ignore[arg-type]
        while selector.get_map():
            for key, _ in selector.select(POLL_S):
                chunk = os.read(key.fd, 1 << 16)
                if not chunk:
                    selector.unregister(key.fileobj)
                elif key.data is not None:
                    key.data(chunk)
                else:
                    stderr_tail += chunk
                    del stderr_tail[:-stderr_kept_bytes]
            now = time.monotonic()
            if now >= deadline:
                raise TimedOut(
                    f"The media tool was stopped after {wall_s:.0f} s without finishing: the file "
                    "may be damaged, or the machine is overloaded. Try again later."
                )
            if should_stop is not None and now >= next_look:
                next_look = now + POLL_S
                if should_stop():
                    raise Stopped("The work on this file was stopped before it was finished.")


def _raise_if_over_limit(result: ToolResult) -> None:
    """A tool that the kernel killed for its limits exits by signal (the box adds 128)."""
    number = -result.returncode if result.returncode < 0 else result.returncode - 128
    if number == signal.SIGXFSZ:
        raise TooLarge(
            "The media tool wrote more than one file may hold here: cut the recording into "
            "shorter parts and bring them in again."
        )
    if number in (signal.SIGXCPU, signal.SIGKILL):
        raise TimedOut(
            "The media tool was ended by the system (processor time or memory): the file may be "
            "damaged, or the machine is overloaded. Try again later."
        )
    if "Cannot allocate memory" in result.stderr and result.returncode != 0:
        raise TooLarge(
            "The media tool needs more memory for this file than it may have: bring in a copy "
            "with a smaller picture."
        )


def describe_failure(result: ToolResult, *, shown_name: str, doing: str) -> MediaError:
    """The error for a tool that ended with another code than 0; its last words are kept."""
    lines = [line.strip() for line in result.stderr.splitlines() if line.strip()]
    last_words = lines[-1][-200:] if lines else f"exit code {result.returncode}"
    return Damaged(
        f"{shown_name}: {doing} failed ({last_words}). Copy the file from the card again; "
        "if it fails again, the recording is damaged."
    )
