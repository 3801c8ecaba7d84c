"""What was said, as captions in the format WebVTT (W3C: WebVTT, The Web Video Text Tracks Format,
https://www.w3.org/TR/webvtt1/).

Times are in seconds from the film's first frame. A cue's words are plain text here; what the
format takes for its own (`&`, `<`, `>`, blank lines, `-->`) is written so that a player shows
what was said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

INSTANT_LASTS_S = 3.0
AT_LEAST_S = 1.0


@dataclass(frozen=True)
class Spoken:
    """Words of one person. `who` may be empty."""

    who: str
    text: str


@dataclass(frozen=True)
class Cue:
    """`until_s` None: said at an instant, which lasts as `with_ends` decides."""

    from_s: float
    until_s: float | None
    spoken: tuple[Spoken, ...]


def with_ends(cues: Iterable[Cue], film_s: float) -> list[Cue]:
    """In order, each with an end after its beginning.

    A span lasts as long as it was said to. What was said at an instant stays for three seconds,
    or until the next cue begins if that is at least one second later: nobody reads faster, so
    two cues may be on screen together. Cues end with the film at the latest, those of an instant
    with the second that they have at least.

    >>> cues = [Cue(1.0, None, ()), Cue(3.5, None, ()), Cue(3.6, 8.0, ())]
    >>> [(cue.from_s, cue.until_s) for cue in with_ends(cues, film_s=6.0)]
    [(1.0, 3.5), (3.5, 6.0), (3.6, 6.0)]
    """
    ordered = sorted(cues, key=lambda cue: (cue.from_s, cue.until_s or 0.0))
    return [
        replace(cue, until_s=_end_s(cue, ordered[n + 1 :], film_s)) for n, cue in enumerate(ordered)
    ]


def _end_s(cue: Cue, later: Sequence[Cue], film_s: float) -> float:
    if cue.until_s is not None:
        return min(cue.until_s, film_s)
    begins = [other.from_s for other in later if other.from_s >= cue.from_s + AT_LEAST_S]
    end_s = min([cue.from_s + INSTANT_LASTS_S, *begins[:1], film_s])
    return max(end_s, cue.from_s + AT_LEAST_S)


def written(cues: Iterable[Cue], about: str = "") -> str:
    """The file. `about`: one line that says of what; cues have their ends.

    >>> print(written([Cue(1, 2.5, (Spoken("Ines", "Reach <out> & up"),))]), end="")
    WEBVTT
    <BLANKLINE>
    1
    00:00:01.000 --> 00:00:02.500
    <v Ines>Reach &lt;out&gt; &amp; up</v>
    """
    head = "WEBVTT" + (f" - {_one_line(about)}" if about else "")
    blocks = [head, *(_block(number, cue) for number, cue in enumerate(cues, start=1))]
    return "\n\n".join(blocks) + "\n"


def _block(number: int, cue: Cue) -> str:
    if cue.until_s is None or not 0 <= cue.from_s < cue.until_s:
        raise ValueError(f"a cue cannot run from {cue.from_s} s to {cue.until_s} s")
    times = f"{stamp(cue.from_s)} --> {stamp(cue.until_s)}"
    return "\n".join([str(number), times, *(_voice(one) for one in cue.spoken)])


def _voice(spoken: Spoken) -> str:
    who = _one_line(spoken.who)
    words = escaped(_lines(spoken.text))
    return f"<v {escaped(who)}>{words}</v>" if who else words


def escaped(text: str) -> str:
    """
    >>> escaped("a --> b & <c>")
    'a --&gt; b &amp; &lt;c&gt;'
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _lines(text: str) -> str:
    """No blank line, since that would end the cue; no line break but a line feed."""
    lines = re.split(r"\r\n|\r|\n", text.replace("\0", "\ufffd"))
    return "\n".join(line.strip() for line in lines if line.strip())


def _one_line(text: str) -> str:
    return " ".join(text.replace("\0", "\ufffd").replace("-->", "→").split())


def stamp(at_s: float) -> str:
    """
    >>> stamp(0.0), stamp(3725.0416), stamp(59.9996)
    ('00:00:00.000', '01:02:05.042', '00:01:00.000')
    """
    whole_ms = round(at_s * 1000)
    minutes, ms = divmod(whole_ms, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{ms // 1000:02d}.{ms % 1000:03d}"
