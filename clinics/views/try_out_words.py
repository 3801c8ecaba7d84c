"""What a try-out found, in words, each with what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.compute.try_out import Check

Numbers = Mapping[str, Any]

LABELS = {
    Check.PICTURE: gettext_lazy("File"),
    Check.FOCUS: gettext_lazy("Focus"),
    Check.LIGHT: gettext_lazy("Light"),
    Check.STEADY: gettext_lazy("Stands still"),
    Check.START: gettext_lazy("Start signal"),
    Check.CLOCK: gettext_lazy("Clock"),
}
STATES = {
    "ok": gettext_lazy("fine"),
    "look": gettext_lazy("take a look"),
    "bad": gettext_lazy("will not do"),
}
WHERE = {
    "left": gettext_lazy("left"),
    "middle": gettext_lazy("in the middle"),
    "right": gettext_lazy("right"),
}


def finding_words(check: str, what: str, numbers: Numbers) -> str:
    """A sentence or two; an unknown finding (of another release) is shown by its name."""
    say = _SAY.get(Check(check)) if check in set(Check) else None
    return say(what, numbers) if say else what


def _picture(what: str, n: Numbers) -> str:
    facts = {
        "size": f"{n['width']} × {n['height']}",
        "codec": n["codec"],
        "rate": f"{n['rate']:g}",
        "seconds": round(n["duration_s"]),
    }
    if n.get("interlaced"):
        told = _(
            "It opens: %(size)s, %(codec)s, interlaced, %(rate)s fields a second, %(seconds)d s."
        )
    else:
        told = _("It opens: %(size)s, %(codec)s, %(rate)s pictures a second, %(seconds)d s.")
    more = {
        "slow": _("Choose 50 or 60 pictures a second if the camera has that: times get finer."),
        "small": _("Choose 1080 lines if the camera has them."),
    }.get(what, "")
    return f"{told % facts} {more}".strip()


def _focus(what: str, n: Numbers) -> str:
    if what == "no-edges":
        return _(
            "Nothing in it has an edge to judge by: look at the stills. If they are not clear, the"
            " lens is far out of focus, misted or covered: wipe it, set the focus by hand on the"
            " swum lane, film again."
        )
    figures = {"px": f"{n['blur_px']:g}", "where": str(WHERE.get(n["where"], n["where"]))}
    if what == "sharp":
        return _(
            "Sharp: edges within %(px)s pixels of 1920, sharpest %(where)s. Is that the lane?"
        ) % (figures)
    if what == "soft":
        told = _("A little soft: edges over %(px)s pixels of 1920, sharpest %(where)s.")
    else:
        told = _("Not sharp: edges over %(px)s pixels of 1920, sharpest %(where)s.")
    return f"{told % figures} " + _("Set the focus by hand on the swum lane, and lock it.")


def _light(what: str, n: Numbers) -> str:
    return {
        "fine": _("Neither too dark nor too bright."),
        "dark": _("Dark: open the aperture, or ask for more lamps; short exposure needs light."),
        "bright": _("A large part is white: turn away from the windows, or expose less."),
        "flat": _("Little between dark and bright: mist on the lens, or glare on the window?"),
    }.get(what, what)


def _steady(what: str, n: Numbers) -> str:
    return {
        "still": _("The picture stands still."),
        "moved": _("The picture moved, though the camera is to stand by itself: fix it tighter."),
        "unknown": _(
            "Whether it stands still cannot be told from this picture: look at the stills."
        ),
    }.get(what, what)


def _start(what: str, n: Numbers) -> str:
    if "gap_s" in n:
        figures = {"gap": f"{n['gap_s']:.2f}", "tapped": f"{n['tapped_s']:.1f}"}
        told = _("Heard at both starts, %(gap)s s apart; by the taps %(tapped)s s.") % figures
        more = {
            "heard-unplanned": _("The plan says that it does not hear the start; it does."),
            "heard-look": _(
                "It is faint, or something else sounds like it: move the camera or its microphone"
                " nearer, or give the signal louder."
            ),
        }.get(what, "")
        return f"{told} {more}".strip()
    return {
        "not-planned": _("Not heard, and the plan does not count on it."),
        "no-sound": _("The file has no sound: switch the microphone on."),
        "no-taps": _("Tap both starts above; then it is listened for."),
        "silent": _("The sound is silent: wrong input, muted, or an empty microphone battery."),
        "short": _("The file is shorter than the two starts are apart: film both in one take."),
        "not-found": _(
            "Not heard at both starts. Was the camera running at both? Then move it or its"
            " microphone nearer, or plan that it films the slate."
        ),
    }.get(what, what)


def _clock(what: str, n: Numbers) -> str:
    if what == "slate":
        told = _("Found by the slate, within %(ms)s ms.") % {"ms": f"{n['u_ms']:g}"}
    elif what in ("starts", "starts-look"):
        told = _("Found by the two starts as heard. On the day all starts together do it finer.")
    elif what == "date-alone":
        told = _("Only the file’s own date tells, to a second or two: film the slate as well.")
    elif what == "date-elsewhere":
        told = _(
            "The file’s date is %(apart)s from the starts, and nothing else tells: set the camera’s"
            " clock, and film the slate."
        ) % {"apart": apart_words(n["off_s"])}
    else:
        told = _("Not found: the file has no date, and neither starts nor slate. Film the slate.")
    if "date_off_s" in n:
        off_s = n["date_off_s"]
        words = {"apart": apart_words(off_s)}
        wrong = (
            _("Its own clock is %(apart)s ahead.")
            if off_s > 0
            else _("Its own clock is %(apart)s behind.")
        )
        told = f"{told} {wrong % words} " + _("That does no harm; set it all the same.")
    return told


def apart_words(seconds: float) -> str:
    """How far apart, to a unit that says enough.

    >>> apart_words(-14398), apart_words(75), apart_words(12)
    ('4.0 h', '1.2 min', '12 s')
    """
    size = abs(seconds)
    if size >= 2 * 86_400:
        return _("%(n)d days") % {"n": round(size / 86_400)}
    if size >= 5400:
        return _("%(n).1f h") % {"n": size / 3600}
    if size >= 60:
        return _("%(n).1f min") % {"n": size / 60}
    return _("%(n)d s") % {"n": round(size)}


_SAY: dict[Check, Callable[[str, Numbers], str]] = {
    Check.PICTURE: _picture,
    Check.FOCUS: _focus,
    Check.LIGHT: _light,
    Check.STEADY: _steady,
    Check.START: _start,
    Check.CLOCK: _clock,
}
