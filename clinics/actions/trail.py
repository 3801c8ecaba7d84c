"""What the access record says of swims, clips, swimmers and clinics, and what was done to them."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Sequence
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from clinics.models import (
    Clinic,
    Clip,
    MinorReport,
    Publication,
    Recording,
    Share,
    ShelfClip,
    SignUp,
    Station,
    Swim,
    Swimmer,
)
from portal import audit_words
from portal.models import Club
from portal.registry import AuditSubject, audit_subjects


def _subject(
    model: type[Model], label: Any, say: Callable[[Any], str], *, to: str, by: Sequence[str]
) -> AuditSubject:
    """A kind of row, by the path to its club's id and the paths to the names it is searched by."""
    objects: QuerySet[Any] = model._default_manager.all()
    with_it = {path.rpartition("__")[0] for path in (to, *by) if "__" in path}

    def words(ids: Collection[str]) -> dict[str, str]:
        rows = objects.filter(pk__in=ids).select_related(*with_it)
        return {str(row.pk): say(row) for row in rows}

    def clubs(pk: uuid.UUID) -> QuerySet[Any]:
        return objects.filter(pk=pk).order_by().values_list(to)

    def find(club: Club, text: str) -> list[str]:
        meant = Q(pk__in=[])
        for path in by:
            meant |= Q(**{f"{path}__icontains": text})
        rows = objects.filter(meant, **{to: club.pk})
        return [str(pk) for pk in rows.values_list("pk", flat=True)]

    return AuditSubject(model._meta.label, label, words, clubs, find)


def _of_clinic(clinic: Clinic) -> str:
    return f"{clinic.name}, {date_format(clinic.date, 'DATE_FORMAT')}"


def _of_station(station: Station) -> str:
    return f"{station.name}, {_of_clinic(station.clinic)}"


def _of_swim(swim: Swim) -> str:
    return f"{swim.entry.swimmer.name}, {_of_clinic(swim.entry.clinic)}"


def _of_recording(recording: Recording) -> str:
    return f"{recording.station.name}, {_of_clinic(recording.station.clinic)}"


def _of_clip(clip: Clip) -> str:
    return f"{_of_swim(clip.swim)}, {clip.station.name}"


def _through(prefix: str) -> dict[str, Any]:
    """The paths of a row that belongs to a swim."""
    names = (f"{prefix}entry__swimmer__name", f"{prefix}entry__clinic__name")
    return {"to": f"{prefix}entry__clinic__club_id", "by": names}


def _through_clip(prefix: str) -> dict[str, Any]:
    paths = _through(f"{prefix}swim__")
    return paths | {"by": (*paths["by"], f"{prefix}station__name")}


SUBJECTS = (
    _subject(Clinic, _("a clinic"), _of_clinic, to="club_id", by=["name"]),
    _subject(
        Station,
        _("a station"),
        _of_station,
        to="clinic__club_id",
        by=["name", "clinic__name"],
    ),
    _subject(Swimmer, _("a swimmer"), lambda row: row.name, to="club_id", by=["name"]),
    _subject(Swim, _("a swim"), _of_swim, **_through("")),
    _subject(Clip, _("a clip"), _of_clip, **_through_clip("")),
    _subject(Share, _("a link"), lambda row: _of_swim(row.swim), **_through("swim__")),
    _subject(
        ShelfClip,
        _("a clip to learn from"),
        lambda row: _of_clip(row.clip),
        **_through_clip("clip__"),
    ),
    _subject(
        Publication,
        _("a published clip"),
        lambda row: _of_clip(row.clip),
        **_through_clip("clip__"),
    ),
    _subject(MinorReport, _("a clip"), lambda row: _of_clip(row.clip), **_through_clip("clip__")),
    _subject(
        SignUp,
        _("a sign-up"),
        lambda row: f"{row.name}, {_of_clinic(row.sheet.clinic)}",
        to="sheet__clinic__club_id",
        by=["name", "sheet__clinic__name"],
    ),
    _subject(
        Recording,
        _("a recording"),
        _of_recording,
        to="station__clinic__club_id",
        by=["station__name", "station__clinic__name"],
    ),
)


WORK = {
    "plan.": _("took in a plan"),
    "plan.new": _("planned a clinic"),
    "plan.copy": _("took along what an earlier clinic had"),
    "plan.facts": _("changed what a clinic is, or when"),
    "duty.": _("gave somebody a post, or took them off one"),
    "task.": _("ticked, moved, added or removed a task"),
    "station.": _("changed a station of the plan"),
    "kit.": _("ticked something of a station's kit, or took the tick off"),
    "venue.": _("put down what the pool is like"),
    "cautions.": _("said that they have read cautions"),
    "roster.": _("took in a roster"),
    "pool-hour.": _("changed the pool hour"),
    "running-order.": _("changed the running order"),
    "wish.": _("said who comes late or goes again"),
    "station.said": _("said how a station's camera is"),
    "start-log.": _("took in a start log"),
    "start.": _("logged a start, or changed one"),
    "heard-starts.": _("said whose starts the cameras heard"),
    "slates.": _("took in slates"),
    "upload.": _("brought in files"),
    "recording.": _("said something about a recording"),
    "tie.": _("placed a tie, or took one away"),
    "clocks.": _("fitted the clocks"),
    "cuts.": _("planned the cuts, or stopped them"),
    "board.": _("changed something on the check board"),
    "mask.": _("covered something in the picture, or showed it again"),
    "in_picture.": _("noted who is in the picture"),
    "swim.confirm_person": _("confirmed the person"),
    "swim.record_others": _("noted who else can be recognised"),
    "swim.reassign": _("found that it is somebody else"),
    "swim.pass": _("passed it on to the coaches"),
    "swim.give": _("gave it to the swimmer"),
    "swim.not_me": _("said: this is not me"),
    "minor.": _("looked into whether a minor is in the picture"),
    "clinic.": _("checked or closed a clinic"),
    "custody.": _("noted where a card, phone or laptop is"),
}


def register() -> None:
    for subject in SUBJECTS:
        audit_subjects.register(subject)
    audit_words.know(
        audit_words.SEEN,
        {"swim.view": _("watched"), "minor.look": _("watched it to find out about a minor")},
    )
    audit_words.know(audit_words.WORK, WORK)
    audit_words.know(audit_words.PEOPLE, {"membership.until": _("changed a visitor's last day")})
    audit_words.know(
        audit_words.CONSENT,
        {
            "consent.record": _("an answer about consent was recorded"),
            "consent.end": _("a consent ended"),
            "consent.ask": _("asked for consent"),
            "consent-text.publish": _("published a consent text"),
            "swimmer.adult": _("noted who is an adult"),
            "publish.": _("decided about publishing a clip"),
        },
    )
    audit_words.know(
        audit_words.DELETED,
        {
            "swim.delete-now": _("asked to delete a swim now"),
            "rules.change": _("changed the club's rules of keeping"),
        },
    )
