"""What the access record says of what is said, drawn, marked and set: of whose swim it is, or of
which recording, so that who looks for a swimmer finds that, too."""

from __future__ import annotations

import uuid
from collections.abc import Collection
from typing import TYPE_CHECKING, Any

from django.db.models import Model, QuerySet

from feedback.models import BodyPoints, Comment, Drawing, Mark, PicturePlane, RateReading
from portal.registry import AuditSubject, audit_subjects

if TYPE_CHECKING:
    from portal.models import Club

AT_MOST = 2000  # rows that a search text stands for: of one swim there may be hundreds
CLUB_OF = {
    "swim": "swim__entry__clinic__club_id",
    "recording": "recording__station__clinic__club_id",
}
HANGS_ON: tuple[tuple[type[Model], str], ...] = (
    (Comment, "swim"),
    (Drawing, "swim"),
    (Mark, "swim"),
    (BodyPoints, "swim"),
    (RateReading, "swim"),
    (PicturePlane, "recording"),
)


def _named_as(model: type[Model], path: str) -> AuditSubject:
    """Called, found and counted to a club as what it hangs on; words cost two queries."""
    objects: QuerySet[Any] = model._base_manager.all()
    on = model._meta.get_field(path).related_model
    assert isinstance(on, type)  # no reference to “self”
    of = audit_subjects.get(on._meta.label)

    def words(ids: Collection[str]) -> dict[str, str]:
        rows = objects.filter(pk__in=ids).values_list("pk", f"{path}_id")
        its = {str(pk): str(key) for pk, key in rows}
        told = of.words(set(its.values()))
        return {pk: told[key] for pk, key in its.items() if key in told}

    def clubs(pk: uuid.UUID) -> QuerySet[Any]:
        return objects.filter(pk=pk).order_by().values_list(CLUB_OF[path])

    def find(club: Club, text: str) -> list[str]:
        rows = objects.filter(**{f"{path}__in": of.find(club, text)})
        return [str(pk) for pk in rows.values_list("pk", flat=True)[:AT_MOST]]

    return AuditSubject(model._meta.label, of.label, words, clubs, find)


def register() -> None:
    """After clinics, which says what swims and recordings are called."""
    for model, path in HANGS_ON:
        audit_subjects.register(_named_as(model, path))
