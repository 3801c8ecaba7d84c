"""The site itself: signing in, the account, people, requests, jobs, health."""

from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.utils import timezone

from tests.matrix.cast_things import CastThings
from tests.matrix.rows import ANYONE, SIGNED_IN, WORK, WORK_HERE, Row

ROWS: dict[str, Row] = {
    "portal:home": Row(get=SIGNED_IN),
    "portal:notice": Row(get=ANYONE),
    "portal:language": Row(post=ANYONE),
    "portal:sign-in": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-code": Row(get=ANYONE, post=ANYONE),
    "portal:sign-in-confirm": Row(get=ANYONE),
    "portal:sign-in-passkey": Row(get=ANYONE, post=ANYONE),
    "portal:sign-out": Row(post=SIGNED_IN),
    "portal:account": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:session-end": Row("session", post="S"),
    "portal:sessions-end-others": Row(post=SIGNED_IN),
    "portal:fresh": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-code": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:fresh-go-on": Row(get=SIGNED_IN),
    "portal:factors": Row(get=SIGNED_IN),
    "portal:factor-use": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-use-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-app": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-passkey": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-recovery": Row(get=SIGNED_IN, post=SIGNED_IN),
    "portal:factor-remove": Row("factor", get="S", post="S"),
    "portal:my-people": Row(get="Aa"),
    "portal:people": Row("club", get="A", post="A"),
    "portal:access-record": Row("club", get="A"),
    "portal:membership-end": Row("membership", post="A"),
    "portal:requests": Row("club", get="A"),
    "portal:request-note": Row("club", get="A", post="A"),
    "portal:request-answer": Row("request", get="A", post="A"),
    "portal:erased": Row("erasure", get=ANYONE),
    "portal:job": Row("clip job", get="K", post="K"),
    "portal:job#clocks": Row("clinic job", get=WORK_HERE, post="K"),
    "portal:job#recording": Row("recording job", get="KR", post="R"),
    "portal:job#card": Row("upload job", get="R", post="R"),
    "portal:health": Row(get=WORK),
    "portal:health-live": Row(get=ANYONE),
}


class PortalThings(CastThings):
    def session(self) -> dict[str, Any]:
        row = UserSession.objects.create(
            user=self.cast.tomas, ip="192.0.2.7", session_key="k" * 32, user_agent="Tester"
        )
        return self._pk(row)

    def factor(self) -> dict[str, Any]:
        row = Authenticator.objects.create(user=self.cast.tomas, type="totp", data={"secret": "x"})
        return self._pk(row)

    def membership(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug, "pk": self.cast.crew.memberships.get().pk}

    def request(self) -> dict[str, Any]:
        row = self._request("other", "open", words="What do you keep?")
        return {"slug": self.cast.harbour.slug, "pk": row.pk}

    def erasure(self) -> dict[str, Any]:
        return self._pk(self._request("erase", "done", answered_at=timezone.now()))

    def clip_job(self) -> dict[str, Any]:
        return self._pk(self._job("render-clip", self.cast.clips["tomas"][0], self.cast.checker))

    def clinic_job(self) -> dict[str, Any]:
        return self._pk(self._job("align", self.cast.clinic, self.cast.checker))

    def recording_job(self) -> dict[str, Any]:
        recording = self.cast.recordings["start-side"]
        return self._pk(self._job("index-recording", recording, self.cast.crew))
