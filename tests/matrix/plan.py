"""Planning a clinic, signing up, the try-out, the pool hour and its start log."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from clinics.actions.sign_up_mail import personal_token
from clinics.actions.try_out import Who
from clinics.actions.try_out import begin as begin_try_out
from clinics.models import SignUp, SignUpSheet, TryOut, TryOutFile
from tests.cast import make_still, make_stored
from tests.matrix.cast_things import CastThings
from tests.matrix.rows import ANYONE, SIGNED_IN, WORK_HERE, Row

ROWS: dict[str, Row] = {
    "clinics:clinics": Row(get=SIGNED_IN),
    "clinics:clinic-new": Row(get="Aa", post="Aa"),
    "clinics:clinic-new-plan": Row(get="Aa", post="Aa"),
    "clinics:clinic-facts": Row("clinic", get="A", post="A"),
    "clinics:people": Row("clinic", get=WORK_HERE),
    "clinics:people-put": Row("clinic", post="A"),
    "clinics:people-take-off": Row("clinic", post="A"),
    "clinics:people-invite": Row("clinic", post="A"),
    "clinics:people-until": Row("clinic", post="A"),
    "clinics:people-dives": Row("clinic", post="A"),
    "clinics:tasks": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:task-tick": Row("admin task", post="A"),
    "clinics:task-tick#crew": Row("crew task", post="KRA"),
    "clinics:task-tick#checker": Row("checker task", post="KA"),
    "clinics:task-move": Row("admin task", post="A"),
    "clinics:task-remove": Row("admin task", post="A"),
    "clinics:clinic": Row("clinic", get=WORK_HERE),
    "clinics:clinic-cut": Row("clinic", post="KR"),
    "clinics:clinic-stop": Row("clinic", post="KR"),
    "clinics:clinic-progress": Row("clinic", get=WORK_HERE),
    "clinics:clinic-plan": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:venue": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:venue-copy": Row("clinic", post="A"),
    "clinics:cautions": Row("clinic", get=WORK_HERE, post=WORK_HERE),
    "clinics:papers": Row("clinic", get=WORK_HERE),
    "clinics:running-order-pdf": Row("clinic", get=WORK_HERE),
    "clinics:stations": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:stations-undo": Row("clinic", post="A"),
    "clinics:station": Row("station", get="A", post="A"),
    "clinics:station-move": Row("station", post="A"),
    "clinics:station-remove": Row("station", post="A"),
    "clinics:station-kit": Row("station", get=WORK_HERE, post="KRA"),
    "clinics:station-cards-pdf": Row("clinic", get=WORK_HERE),
    "clinics:number-cards-pdf": Row("clinic", get=WORK_HERE),
    "clinics:consent-status-pdf": Row("clinic", get="KRA"),
    "clinics:posts-pdf": Row("clinic", get=WORK_HERE),
    "clinics:calendar-file": Row("clinic", get=WORK_HERE),
    "clinics:try-out": Row("clinic", get="KRA", post="KRA"),
    "clinics:try-out-states": Row("try out", get="KRA"),
    "clinics:try-out-start": Row("try out", post="KRA"),
    "clinics:try-out-end": Row("try out", post="KRA"),
    "clinics:try-out-bring": Row("try out station", post="KRA"),
    "clinics:try-out-frame": Row("try out file", post="KR"),
    "clinics:try-out-still": Row("try out still", get="KR"),
    "clinics:clinic-roster": Row("clinic", get="A", post="A"),
    "clinics:pool-hour": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:running-order": Row("clinic", get="A", post="A"),
    "clinics:day-board": Row("clinic", get=WORK_HERE),
    "clinics:day-wish": Row("clinic", post=WORK_HERE),
    "clinics:day-station": Row("clinic", post="KR"),
    "clinics:sign-ups": Row("clinic", get=WORK_HERE, post="A"),
    "clinics:sign-ups-csv": Row("clinic", get="A"),
    "clinics:sign-up-poster": Row("clinic", get=WORK_HERE),
    "clinics:sign-up-add": Row("sheeted clinic", get="A", post="A"),
    "clinics:sign-up-take-in": Row("clinic", get="A", post="A"),
    "clinics:sign-up-act": Row("listed sign up", post="A"),
    "clinics:sign-up-notes": Row("clinic", get="C"),
    "clinics:my-sign-ups": Row(get=SIGNED_IN),
    "clinics:my-sign-up": Row("own sign up", get="S"),
    "clinics:sign-up-link": Row("sheet link", get=ANYONE),
    "clinics:sign-up": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-up-sent": Row(get=ANYONE),
    "clinics:sign-up-mine-link": Row("sign up link", get=ANYONE),
    "clinics:sign-up-mine": Row(get=ANYONE, post=ANYONE),
    "clinics:sign-up-mine-end": Row(post=ANYONE),
    "clinics:start-log": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-undo": Row("clinic", post="KR"),
    "clinics:start-log-file": Row("clinic", get="KR", post="KR"),
    "clinics:start-log-clock": Row("clinic", get="KR"),
    "clinics:start-log-state": Row("clinic", get="KR"),
    "clinics:start-log-sync": Row("clinic", post="KR"),
    "clinics:start-log-shell": Row("clinic", get="KR"),
    "clinics:start-log-manifest": Row("clinic", get="KR"),
    "clinics:consent-pool-shell": Row("clinic", get="KR"),
    "clinics:offline-worker": Row(get=SIGNED_IN),
    "clinics:slate": Row("clinic", get="KR"),
    "clinics:slate-time": Row("clinic", get="KR"),
    "clinics:slate-codes": Row("clinic", get="KR"),
}


class PlanThings(CastThings):
    def try_out(self) -> dict[str, Any]:
        two = [Who(name="Ida Quist"), Who(name="Ove Lund")]
        begin_try_out(clinic=self.cast.clinic, who=two, attested=True, by=self.cast.crew)
        return self._pk(self.cast.clinic)

    def try_out_station(self) -> dict[str, Any]:
        return self.try_out() | {"station": self.cast.start_side.pk}

    def _try_out_file(self) -> TryOutFile:
        self.try_out()
        return TryOutFile.objects.create(
            try_out=TryOut.objects.get(),
            station=self.cast.start_side,
            state="judged",
            brought_by=self.cast.crew,
        )

    def try_out_file(self) -> dict[str, Any]:
        return self._pk(self._try_out_file())

    def try_out_still(self) -> dict[str, Any]:
        club = self.cast.harbour
        stored = make_stored(club, make_still((9, 9, 9)), kind="try-out-still", suffix=".jpg")
        return self._pk(self._try_out_file().stills.create(stored=stored, at_s=1.0))

    def admin_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "permission"}

    def crew_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "try-out"}

    def checker_task(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "key": "checked"}

    def _sign_up(self) -> SignUp:
        sheet = SignUpSheet.objects.create(clinic=self.cast.clinic, token="link-of-the-club")
        return SignUp.objects.create(
            sheet=sheet,
            user=self.cast.tomas,
            name="Tomas Birk",
            adult_attested_at=timezone.now(),
            stroke="freestyle",
            start="block",
            pace_s_per_100m=90,
            state="signed-up",
            came="account",
            confirmed_at=timezone.now(),
        )

    def sheeted_clinic(self) -> dict[str, Any]:
        return self._pk(self._sign_up().sheet.clinic)

    def listed_sign_up(self) -> dict[str, Any]:
        row = self._sign_up()
        return {"pk": row.sheet_id, "sign_up": row.pk}

    def own_sign_up(self) -> dict[str, Any]:
        return self._pk(self._sign_up())

    def sheet_link(self) -> dict[str, Any]:
        return {"token": self._sign_up().sheet.token}

    def sign_up_link(self) -> dict[str, Any]:
        return {"token": personal_token(self._sign_up())}
