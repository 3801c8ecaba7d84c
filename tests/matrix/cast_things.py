"""The things that the cast has from the beginning, and what making others takes."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.utils import timezone

from portal.actions.jobs import enqueue
from portal.models import PersonRequest
from tests.cast import Cast


class CastThings:
    """What the URLs are about, made when asked for. A row's `of` names the method."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast

    def keys(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """URL arguments of the thing, and the same with ids that nothing has."""
        made: dict[str, Any] = getattr(self, name.replace(" ", "_"))() if name else {}
        return made, {key: self._nothing(key, value) for key, value in made.items()}

    def _nothing(self, key: str, value: Any) -> Any:
        if isinstance(value, uuid.UUID):
            return uuid.uuid4()
        if key == "number":
            return value
        return 987_654 if isinstance(value, int) else "no-such-club"

    def _pk(self, row: Any) -> dict[str, Any]:
        return {"pk": row.pk}

    def club(self) -> dict[str, Any]:
        return {"slug": self.cast.harbour.slug}

    def _request(self, kind: str, state: str, **more: Any) -> PersonRequest:
        month = dt.timedelta(days=30)
        return PersonRequest.objects.create(
            kind=kind,
            state=state,
            club=self.cast.harbour,
            user=self.cast.tomas,
            subject_kind="clinics.Swimmer",
            subject_id=self.cast.swims["tomas"].entry.swimmer_id,
            due_at=timezone.now() + month,
            act_at=timezone.now() + month,
            **more,
        )

    def clinic(self) -> dict[str, Any]:
        return self._pk(self.cast.clinic)

    def entry(self) -> dict[str, Any]:
        return {"pk": self.cast.clinic.pk, "entry": self.cast.swims["tomas"].entry.pk}

    def station(self) -> dict[str, Any]:
        return self._pk(self.cast.start_side)

    def swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["tomas"])

    def withdrawn_swim(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["sol"])

    def swim_elsewhere(self) -> dict[str, Any]:
        return self._pk(self.cast.swims["other"])

    def _unchecked(self) -> Any:
        swim = self.cast.swims["tomas"]
        swim.person, swim.others_recorded_at = "unconfirmed", None
        swim.passed_at = swim.given_at = None
        swim.save()
        return swim

    def unchecked_swim(self) -> dict[str, Any]:
        return self._pk(self._unchecked())

    def clip(self) -> dict[str, Any]:
        return self._pk(self.cast.clips["tomas"][0])

    def withdrawn_clip(self) -> dict[str, Any]:
        return self._pk(self.cast.clips["sol"][0])

    def _file(self, swim: str, kind: str) -> dict[str, Any]:
        return self._pk(self.cast.clips[swim][0].files.get(kind=kind))

    def video(self) -> dict[str, Any]:
        return self._file("tomas", "video")

    def poster(self) -> dict[str, Any]:
        return self._file("tomas", "poster")

    def strip(self) -> dict[str, Any]:
        return self._file("tomas", "strip")

    def sound(self) -> dict[str, Any]:
        return self._file("tomas", "sound")

    def unchecked_video(self) -> dict[str, Any]:
        self._unchecked()
        return self._file("tomas", "video")

    def withdrawn_video(self) -> dict[str, Any]:
        return self._file("sol", "video")

    def video_elsewhere(self) -> dict[str, Any]:
        return self._file("other", "video")

    def _job(self, kind: str, subject: Any, by: Any) -> Any:
        return enqueue(kind=kind, subject=subject, asked_by=by)

    def _clip_of(self, name: str = "tomas") -> Any:
        return self.cast.clips[name][0]
