"""Fits all clocks of a clinic from its ties; can take ties from a file first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from clinics.actions.align import fit
from clinics.actions.ties import take_in_ties
from clinics.compute.time import iso_utc
from clinics.management.clinic_command import ClinicCommand
from clinics.models import ClinicClock, ClockFit, HeardStart, Recording


class Command(ClinicCommand):
    help = (
        "Fits the clocks of all recordings of a clinic from the start signals in their sound and "
        "from all ties (what was seen passing and file dates place the rest coarsely). --ties "
        "FILE.json places ties first; clinics/compute/ties_file.py describes the format."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--ties", metavar="FILE.json", help="place these ties first")

    def handle(self, *args: Any, **options: Any) -> None:
        clinic = self.find_clinic(options["clinic"])
        if options["ties"]:
            path = Path(options["ties"])
            text = self.read(path)
            with self.bad_input("No tie was placed. Correct the file, then try again."):
                placed = take_in_ties(clinic=clinic, text=text, by=None, source=path.name)
            self.say(f"{placed} ties placed.")
        fits, found = fit(clinic=clinic)
        rows = list(
            Recording.objects.filter(pk__in=fits)
            .select_related("station", "camera", "clock_fit")
            .prefetch_related("files", "ties__swim__entry")
        )
        document = {
            "clinic": clinic.slug,
            "taps_late_ms": _ms(found.lateness_s),
            "taps_late_u_ms": _ms(found.lateness_u_s),
            "signal": ClinicClock.objects.get(clinic=clinic).signal,
            "heard_not_logged": [
                {"instant": iso_utc(one.instant), "u_ms": one.u_ms, "heard_by": one.heard_by}
                for one in HeardStart.objects.filter(clinic=clinic, state="proposed")
            ],
            "recordings": [_told(row) for row in rows],
        }
        words = [_words(row) for row in rows] or ["No recording is read yet: bring some in."]
        self.tell(document, words, options["json"])


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else round(1000 * seconds, 1)


def _told(row: Recording) -> dict[str, Any]:
    fit: ClockFit = row.clock_fit
    return {
        "id": str(row.pk),
        "station": row.station.slug,
        "camera": row.camera.name,
        "files": [file.name for file in row.files.all()],
        "zero_at": iso_utc(fit.zero_at),
        "rate_ppm": fit.rate_ppm,
        "slow_motion": row.slow_motion,
        "u_ms": fit.u_ms,
        "u_begin_ms": fit.u_begin_ms,
        "u_mid_ms": fit.u_mid_ms,
        "u_end_ms": fit.u_end_ms,
        "false_match_p": fit.false_match_p,
        "candidates": fit.candidates,
        "state": fit.state,
        "method": fit.method,
        "reason": fit.reason,
        "ties": [
            {
                "kind": tie.kind,
                "found_by": tie.found_by,
                "swimmer": tie.swim.entry.number if tie.swim else None,
                "ticks": tie.pts_ticks,
                "instant": iso_utc(tie.instant),
                "other_recording": str(tie.other_recording_id) if tie.other_recording_id else None,
                "score": tie.score,
                "u_ms": tie.u_ms,
                "residual_ms": tie.residual_ms,
                "set_aside": tie.set_aside,
            }
            for tie in row.ties.all()
        ],
    }


def _words(row: Recording) -> str:
    fit: ClockFit = row.clock_fit
    names = ", ".join(file.name for file in row.files.all())
    head = f"{row.station.name}, {row.camera.name}, {names}: {fit.get_state_display()}"
    if fit.zero_at is None or fit.u_ms is None:
        return f"{head}. {fit.reason}"
    return (
        f"{head}, begins {iso_utc(fit.zero_at)} ± {fit.u_ms:.1f} ms, {fit.rate_ppm:+.1f} ppm, "
        f"{fit.tie_count} ties. {fit.reason}"
    ).rstrip()
