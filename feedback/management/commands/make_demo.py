"""Makes the demo clinic and runs the main job on it; quick to repeat.

Plan, roster, start log and recordings come from the generator in
`clinics/management/demo`; from there on it is the same path as for any clinic on disk.
"""

from __future__ import annotations

import datetime as dt
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, call_command

from clinics.actions import check
from clinics.actions.plan import take_in_plan
from clinics.management.demo.make import make_demo
from clinics.models import Clinic, Consent, Recording, Swim
from feedback.actions.say import say
from feedback.models import Comment
from portal.actions.people import invite
from portal.models import Club, User

CLUBS = (
    ("harbour-lane-masters", "Harbour Lane Masters", "mara.lindqvist@harbourlane.example"),
    ("quillmoor-tritons", "Quillmoor Tritons", "ruben.falk@quillmoor.example"),
)
SEASON_BEGINS = dt.date(2026, 9, 1)  # a coach sees clinics from the first day on
COACH = "ines.aldana@harbourlane.example"
CHECKER = "jun.sorley@harbourlane.example"
SIGN_IN = (
    ("coach", COACH),
    ("checker", CHECKER),
    ("crew", "petra.voss@harbourlane.example"),
    ("club admin", CLUBS[0][2]),
    ("swimmer, swim given", "tomas.birk@harbourlane.example"),
    ("swimmer, swim not given yet", "sol.hagen@harbourlane.example"),
    ("admin of another club", CLUBS[1][2]),
)
SAID = (
    ("start-side", 0.45, "Hands and feet leave at the same time. Push from the legs first."),
    ("underwater", 0.5, "Left hand crosses under the chest. Reach to your own side of the lane."),
)


class Command(BaseCommand):
    help = "Make the demo clinic and run bring in, align, cut, pass and give on it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--short", action="store_true", help="a tiny clinic, for tests")

    def handle(self, *args: Any, **options: Any) -> None:
        out = Path(settings.DATA_DIR) / ("demo-short" if options["short"] else "demo")
        self._say("Drawing the pool and its recordings")
        if not (out / "truth.json").exists():
            make_demo(out, seed=1, short=options["short"])
        admin = self._clubs()
        clinic = take_in_plan(
            text=(out / "plan.toml").read_text(), base_dir=out, roster_text=None, by=admin
        )
        if not Consent.objects.filter(swimmer__club=clinic.club).exists():
            call_command(
                "record_consent", clinic.slug, all=True, by=admin.email, stdout=self.stderr
            )
        self._say("Start log")
        call_command("log_starts", clinic.slug, str(out / "starts.csv"), stdout=self.stderr)
        self._bring_in(clinic, out)
        self._say("Align")
        call_command("align", clinic.slug, ties=str(out / "ties.json"), stdout=self.stderr)
        self._say("Cut")
        call_command("cut", clinic.slug, wait=True, stdout=self.stderr)
        self._pass_and_give(clinic)
        self._how_to_sign_in()

    def _say(self, what: str) -> None:
        self.stderr.write(f"-- {what}")

    def _clubs(self) -> User:
        for slug, name, email in CLUBS:
            club, _ = Club.objects.get_or_create(slug=slug, defaults={"name": name})
            if not club.memberships.filter(role="admin").exists():
                invite(club=club, email=email, name=_name_in(email), role="admin", by=None)
        admin = User.objects.get(email=CLUBS[0][2])
        if not User.objects.filter(email=COACH).exists():
            club = Club.objects.get(slug=CLUBS[0][0])
            invite(
                club=club,
                email=COACH,
                name=_name_in(COACH),
                role="coach",
                by=admin,
                from_date=SEASON_BEGINS,
            )
        return admin

    def _bring_in(self, clinic: Clinic, out: Path) -> None:
        self._say("Bring in")
        for station in clinic.stations.all():
            files = sorted(p for p in (out / "media" / station.slug).iterdir() if p.is_file())
            call_command(
                "bring_in",
                clinic.slug,
                station.slug,
                *[str(file) for file in files],
                wait=True,
                stdout=self.stderr,
            )
        waiting = Recording.objects.filter(station__clinic=clinic).exclude(state="ready")
        if waiting.exists():
            reasons = "; ".join(f"{r.station}: {r.state} {r.reason}" for r in waiting)
            raise RuntimeError(f"some recordings were not read: {reasons}")

    def _pass_and_give(self, clinic: Clinic) -> None:
        self._say("Pass to the coach, comment, give")
        checker, coach = User.objects.get(email=CHECKER), User.objects.get(email=COACH)
        swims = list(Swim.objects.filter(entry__clinic=clinic).order_by("start_at"))
        fresh = [swim for swim in swims if swim.passed_at is None and swim.person == "unconfirmed"]
        for swim in fresh[:-1]:  # the last one is left for the checker
            check.confirm_person(swim=swim, by=checker, person_number=swim.entry.number)
            check.record_others(swim=swim, swimmers=[], by=checker)
        check.pass_swims(swims=fresh[:-1], by=checker)
        self._comment_on_first(swims[0], coach)
        for swim in Swim.objects.filter(entry__clinic=clinic, passed_at__isnull=False)[:2]:
            if swim.given_at is None:
                check.give_swim(swim=swim, by=coach)

    def _comment_on_first(self, swim: Swim, coach: User) -> None:
        if Comment.objects.filter(swim=swim).exists():
            return
        for station, share, text in SAID:
            clip = swim.clips.filter(station__slug=station, state="ready").first()
            if clip is not None:
                frame = int(clip.frame_count * share)
                say(swim=swim, by=coach, text=text, clip=clip, frame=frame)

    def _how_to_sign_in(self) -> None:
        self.stdout.write(f"\nThe demo clinic is ready. Sign in at {settings.SITE_URL} with")
        for what, email in SIGN_IN:
            self.stdout.write(f"  {what:34} {email}")
        self.stdout.write(
            "The code is printed where the site runs, as mail would be; without that,\n"
            "`manage.py let_in E-MAIL` prints a way in.\n"
        )


def _name_in(email: str) -> str:
    return " ".join(part.capitalize() for part in email.split("@")[0].split("."))
