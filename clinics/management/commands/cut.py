"""Plans a clinic's clips and asks for their rendering; --wait stays until they are made."""

from __future__ import annotations

import threading
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import connection, connections

from clinics.actions.clip_files import RENDER_KIND
from clinics.actions.consent import swims_not_cut
from clinics.actions.cut import plan_cuts
from clinics.actions.report_parts import clips_part, dropped_part, left_out_part, progress_part
from clinics.management.clinic_command import (
    ClinicCommand,
    dropped_words,
    left_out_words,
    not_cut_words,
    progress_words,
)
from clinics.models import Clinic, Clip
from portal.actions.job_worker import drain
from portal.actions.jobs import OPEN
from portal.models import Job

TELL_EVERY_S = 5.0
LOOK_AGAIN_S = 1.0


class Command(ClinicCommand):
    help = (
        "Plans one clip for each pass of each swim at each station, from clocks that are fitted, "
        "and renders them. Clips that are made and unchanged are left alone."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--wait", action="store_true", help="render what is waiting here, until all is done"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        clinic = self.find_clinic(options["clinic"])
        with self.bad_input():
            plan = plan_cuts(clinic=clinic, coarse_too=True, failed_again=True)
        self.say(
            f"{plan.added} clips to make, {plan.moved} to make again, {plan.removed} removed, "
            f"{plan.unchanged} as they were."
        )
        if options["wait"]:
            self._wait(clinic)
        clips = Clip.objects.filter(swim__entry__clinic=clinic).select_related(
            "station", "swim__entry__swimmer"
        )
        counts = {state: sum(clip.state == state for clip in clips) for state in Clip.State.values}
        failed = [_failed(clip) for clip in clips if clip.state == Clip.State.FAILED]
        left_out = [(swim.entry.number, swim.entry.swimmer.name) for swim in swims_not_cut(clinic)]
        document: dict[str, Any] = {
            "clinic": clinic.slug,
            "added": plan.added,
            "moved": plan.moved,
            "removed": plan.removed,
            "unchanged": plan.unchanged,
            "clips": counts,
            "failed": failed,
            "not_agreed": [{"number": number, "swimmer": name} for number, name in left_out],
            "cuts": clips_part(clinic),
            "left_out": left_out_part(clinic, coarse_too=True),
            "dropped": dropped_part(clinic),
            "progress": progress_part(clinic),
        }
        words = left_out_words(document["left_out"]) + dropped_words(document["dropped"])
        words += [", ".join(f"{count} {state}" for state, count in counts.items()) + "."]
        words += not_cut_words(clinic.slug, left_out)
        self.tell(document, words, options["json"])
        if failed:
            lines = [
                f"{one['swimmer']}, {one['station']}, pass {one['pass']}: {one['reason']}"
                for one in failed
            ]
            raise CommandError("\n".join(["Some clips could not be made:", *lines]))

    def _wait(self, clinic: Clinic) -> None:
        """Work off what is waiting here; what workers of the site have taken, wait for."""
        ended = threading.Event()
        teller = threading.Thread(target=self._tell_progress, args=(clinic, ended), daemon=True)
        if not connection.in_atomic_block:  # its own connection would not see the rows
            teller.start()
        try:
            drain(("render",))
            while _open_renders(clinic):
                ended.wait(LOOK_AGAIN_S)
                drain(("render",))
        finally:
            ended.set()
            if teller.ident is not None:
                teller.join()

    def _tell_progress(self, clinic: Clinic, ended: threading.Event) -> None:
        try:
            while not ended.wait(TELL_EVERY_S):
                self.say(progress_words(progress_part(clinic)))
        finally:
            connections.close_all()


def _open_renders(clinic: Clinic) -> bool:
    clips = Clip.objects.filter(swim__entry__clinic=clinic).values("pk")
    return Job.objects.filter(kind=RENDER_KIND, subject_id__in=clips, state__in=OPEN).exists()


def _failed(clip: Clip) -> dict[str, Any]:
    return {
        "swimmer": clip.swim.entry.swimmer.name,
        "number": clip.swim.entry.number,
        "station": clip.station.slug,
        "pass": clip.pass_no,
        "reason": clip.reason,
    }
