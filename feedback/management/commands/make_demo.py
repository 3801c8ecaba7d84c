"""Makes the demo clinic and runs the main job on it; quick to repeat.

Plan, roster, start log and recordings come from the generator in
`clinics/management/demo`; from there on it is the same path as for any clinic on disk.
"""

from __future__ import annotations

import datetime as dt
import io
import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, call_command
from django.db import transaction

from clinics.actions import check
from clinics.actions.give import give_swim
from clinics.actions.pass_on import pass_swims
from clinics.actions.plan import take_in_plan
from clinics.actions.swimmer_accounts import attach_swimmers
from clinics.management.demo.make import DemoFolderTaken, make_demo
from clinics.management.demo.occasions import AUTUMN, WINTER
from clinics.management.demo_consent import answer_in_demo
from clinics.management.demo_keeping import hand_out
from clinics.management.demo_masks import cover_demo_bench
from clinics.management.demo_requests import ask_the_club
from clinics.management.demo_sign_up import sign_up_in_demo
from clinics.models import Clinic, Consent, Recording, Swim, Tie
from feedback.management.demo_body import place_demo_body
from feedback.management.demo_day import plan_in_demo
from feedback.management.demo_drawings import SEED
from feedback.management.demo_marks import place_demo_marks
from feedback.management.demo_planes import place_demo_planes
from feedback.management.demo_rates import ask_demo_rates
from feedback.management.demo_seen import note_views
from feedback.management.demo_showing import show_on_in_demo
from feedback.management.demo_spread import give_who_swam_alike
from feedback.management.demo_take_home import give_demo_pages
from feedback.management.demo_words import talk_about, write_to_who_swam_before
from portal.actions.job_worker import drain
from portal.actions.people import invite, user_for
from portal.models import Club, User

CLUBS = (
    ("harbour-lane-masters", "Harbour Lane Masters", "mara.lindqvist@harbourlane.example"),
    ("quillmoor-tritons", "Quillmoor Tritons", "ruben.falk@quillmoor.example"),
)
SEASON_BEGINS = dt.date(2026, 1, 1)  # a coach sees clinics from the first day on
COACH = "ines.aldana@harbourlane.example"
SWIMMER = "tomas.birk@harbourlane.example"
CHECKER = "jun.sorley@harbourlane.example"
SIGN_IN = (
    ("coach", COACH),
    ("checker", CHECKER),
    ("crew", "petra.voss@harbourlane.example"),
    ("club admin", CLUBS[0][2]),
    ("swimmer, swim given", SWIMMER),
    ("swimmer, swim not given yet", "liv.marchetti@harbourlane.example"),
    ("admin of another club", CLUBS[1][2]),
)


class Command(BaseCommand):
    help = "Make the demo clinic and run bring in, align, cut, pass and give on it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--short", action="store_true", help="a tiny clinic, for tests")

    def handle(self, *args: Any, **options: Any) -> None:
        self._short = options["short"]
        admin = self._clubs()
        folder = "demo-short" if self._short else "demo"
        clinic, out, aligned = self._held(admin, folder, AUTUMN.slug, short=self._short)
        self._pass_and_give(clinic)
        self._mark(clinic, out)
        self._around(clinic, admin)
        if not self._short:
            self._earlier(admin)
        self._take_home(clinic)
        self._how_aligned(aligned)
        self._how_to_sign_in()

    def _held(
        self, admin: User, folder: str, slug: str, *, short: bool
    ) -> tuple[Clinic, Path, dict[str, Any]]:
        """A clinic from its drawing to its clips: the clinic, its folder, how it was aligned."""
        out = Path(settings.DATA_DIR) / folder
        self._say("Drawing the pool and its recordings")
        try:
            make_demo(out, seed=SEED, short=short, clinic=slug)
        except DemoFolderTaken:
            self._say(f"{out} was drawn by an older version and stays; remove it to have today's")
        clinic = take_in_plan(
            text=(out / "plan.toml").read_text(), base_dir=out, roster_text=None, by=admin
        )
        cover_demo_bench(clinic=clinic, by=admin)
        entered = Consent.objects.filter(swimmer__entries__clinic=clinic)
        if not entered.exists():
            call_command(
                "record_consent", clinic.slug, all=True, by=admin.email, stdout=self.stderr
            )
        self._say("Start log")
        call_command("log_starts", clinic.slug, str(out / "starts.csv"), stdout=self.stderr)
        self._bring_in(clinic, out)
        aligned = self._align(clinic, out)
        self._say("Cut")
        call_command("cut", clinic.slug, wait=True, stdout=self.stderr)
        return clinic, out, aligned

    def _around(self, clinic: Clinic, admin: User) -> None:
        """What a club has besides: a plan, answers about showing, copies outside, a letter, a
        look."""
        plan_in_demo(clinic, admin=admin)
        answer_in_demo(clinic, admin=admin)
        sign_up_in_demo(clinic)
        hand_out(clinic=clinic, by=admin)
        ask_the_club(clinic=clinic, admin=admin)
        note_views(clinic)
        show_on_in_demo(clinic, coach=User.objects.get(email=COACH))

    def _take_home(self, clinic: Clinic) -> None:
        """What swimmers take home, after the earlier clinic, which it compares with; and the
        rates that the workers read from the pictures."""
        coach = User.objects.get(email=COACH)
        give_who_swam_alike(clinic=clinic, by=coach)
        write_to_who_swam_before(clinic=clinic, coach=coach)
        pages = give_demo_pages(clinic=clinic, by=coach)
        rates = ask_demo_rates(clinic=clinic, by=coach)
        self._say(f"{pages} take-home pages, {rates} stroke rates read from the picture")
        drain(("render",))

    def _earlier(self, admin: User) -> None:
        """Last winter's clinic, two swimmers of it: their swims of today stand beside those."""
        self._say("An earlier clinic, to compare with")
        clinic, out, _aligned = self._held(admin, "demo-earlier", WINTER.slug, short=True)
        self._pass(clinic)
        coach = User.objects.get(email=COACH)
        for swim in Swim.objects.filter(
            entry__clinic=clinic, given_at=None, passed_at__isnull=False
        ):
            give_swim(swim=swim, by=coach)
        self._mark(clinic, out)

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
                stdout=self.stderr,
            )
        drain(("render",))  # all are read before anything is aligned: once is enough
        waiting = Recording.objects.filter(station__clinic=clinic).exclude(state="ready")
        if waiting.exists():
            reasons = "; ".join(f"{r.station}: {r.state} {r.reason}" for r in waiting)
            raise RuntimeError(f"some recordings were not read: {reasons}")

    def _align(self, clinic: Clinic, out: Path) -> dict[str, Any]:
        """By itself first; then what hears nothing by the one tie of the demo's ties file."""
        self._say("Align")
        by_hand = Tie.objects.filter(recording__station__clinic=clinic, found_by=Tie.FoundBy.PERSON)
        if not by_hand.exists():
            for line in _clocks(self._aligned(clinic)):
                self._say(line)
            self._say("Align, with the tie that somebody placed for the silent camera")
            return self._aligned(clinic, ties=str(out / "ties.json"))
        return self._aligned(clinic)

    def _aligned(self, clinic: Clinic, **options: Any) -> dict[str, Any]:
        told = io.StringIO()
        call_command("align", clinic.slug, json=True, stdout=told, stderr=self.stderr, **options)
        document: dict[str, Any] = json.loads(told.getvalue())
        return document

    def _how_aligned(self, aligned: dict[str, Any]) -> None:
        self.stdout.write("\nAligned, ± against the other cameras:")
        for line in _clocks(aligned):
            self.stdout.write(f"  {line}")
        heard = len(aligned["heard_not_logged"])
        if heard:
            self.stdout.write(
                f"  {heard} start signals were heard that nobody logged: the clinic's page of "
                "heard starts asks whose they were."
            )

    def _pass_and_give(self, clinic: Clinic) -> None:
        self._say("Pass to the coach, comment, give")
        swims = Swim.objects.filter(entry__clinic=clinic).order_by("start_at")
        late = list(swims.reverse()[:3])  # the last one is of the kind whose spread is shown
        self._pass(clinic, but=late[1] if len(late) > 2 else late[0])  # one for the checker
        coach = User.objects.get(email=COACH)
        self._sign_in_once(SWIMMER)
        talk_about(
            swim=Swim.objects.filter(entry__clinic=clinic).earliest("start_at"),
            coach=coach,
            short=self._short,
        )
        for swim in swims.filter(passed_at__isnull=False)[:2]:
            if swim.given_at is None:
                give_swim(swim=swim, by=coach)

    def _sign_in_once(self, email: str) -> None:
        """As after a first sign-in: the swimmer has an account, and may ask back."""
        with transaction.atomic():
            attach_swimmers(user_for(email=email))

    def _mark(self, clinic: Clinic, out: Path) -> None:
        coach = User.objects.get(email=COACH)
        place_demo_planes(clinic=clinic, folder=out, by=coach)
        place_demo_body(clinic=clinic, folder=out, by=coach)
        count = place_demo_marks(clinic=clinic, folder=out, by=coach)
        self._say(f"The coach marked {count} events on frames")

    def _pass(self, clinic: Clinic, but: Swim | None = None) -> None:
        """The checker knows everybody by their cards, `but` one."""
        checker = User.objects.get(email=CHECKER)
        swims = Swim.objects.filter(entry__clinic=clinic, passed_at=None, person="unconfirmed")
        looked_at = [swim for swim in swims.order_by("start_at") if swim != but]
        for swim in looked_at:
            check.confirm_person(swim=swim, by=checker, person_number=swim.entry.number)
            check.record_others(swim=swim, swimmers=[], by=checker)
        pass_swims(swims=looked_at, by=checker)

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


def _clocks(aligned: dict[str, Any]) -> list[str]:
    """A line for each recording: how sure its clock is, and by what."""
    return [
        f"{row['camera']}, {row['files'][0]}: {row['state']}"
        + (f" ± {row['u_ms']:.1f} ms" if row["u_ms"] is not None else "")
        + f", {_by_what(row['ties'])}"
        for row in aligned["recordings"]
    ]


def _by_what(ties: list[dict[str, Any]]) -> str:
    counted = [tie["found_by"] for tie in ties if not tie["set_aside"]]
    by_hand = counted.count(Tie.FoundBy.PERSON)
    heard = counted.count(Tie.FoundBy.SOUND)
    parts = [f"{heard} starts heard"] if heard else ["nothing heard"]
    return ", ".join([*parts, f"{by_hand} tie by hand"] if by_hand else parts)
