"""The venue sheet of a clinic: what somebody said of the pool, copied or changed; and the pool
as other pages draw it, with what is usual where nobody has said."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.plan_drawing import FLAGS_M
from clinics.compute.sight import LANE_M, Pool
from clinics.compute.venue_sheet import depth_points, ropes_out
from clinics.models import Clinic, VenueSheet
from portal.actions.audit import record
from portal.models import User

_FIELD = {field.name: field for field in VenueSheet._meta.concrete_fields}
USUAL_LANES = 6  # common practice for a course of 25 m, no source
FIELDS = tuple(name for name in _FIELD if name not in ("clinic", "changed_at", "changed_by"))
WORDS = tuple(  # written freely: somebody's name may stand there
    name
    for name in FIELDS
    if isinstance(_FIELD[name], models.CharField | models.TextField) and not _FIELD[name].choices
)
# Of the building and the basin, copied if nothing of a row has been said. Whatever belongs to one
# occasion is asked anew: permission, other users, what was settled with juniors, the lifeguard.
COPIED = (
    ("operator", "operator_contact"),
    ("lanes", "ropes_out"),
    ("lane_m",),
    ("flags_m",),
    ("has_blocks", "block_height_m"),
    ("edge_height_m",),
    ("has_window", "window"),
    ("power",),
    ("network",),
    ("notes",),
)
DEPTH = ("depth_profile", "depth_measured_by", "depth_measured_on", "depth_measured_how")
EMPTY: tuple[Any, ...] = (None, "", [])


def venue_of(clinic: Clinic) -> VenueSheet | None:
    """The sheet, if there is one. Queries once for each clinic object."""
    try:
        return clinic.venue_sheet
    except VenueSheet.DoesNotExist:
        return None


def pool_of(clinic: Clinic) -> Pool:
    """The pool to draw: 6 lanes of 2.5 m where the sheet says nothing. Queries as `venue_of`."""
    sheet = venue_of(clinic) or VenueSheet()
    lanes, lane_m = sheet.lanes or USUAL_LANES, sheet.lane_m or LANE_M
    return Pool(course_m=clinic.course_m, lanes=lanes, lane_m=lane_m)


def ropes_out_of(clinic: Clinic) -> tuple[int, ...]:
    """The ropes that come out; none where the sheet says nothing. Queries as `venue_of`."""
    sheet = venue_of(clinic)
    return tuple(sheet.ropes_out) if sheet else ()


def flags_m_of(clinic: Clinic) -> float:
    """Where the backstroke flags hang from each wall; 5 m where the sheet says nothing."""
    sheet = venue_of(clinic)
    return (sheet and sheet.flags_m) or FLAGS_M


@transaction.atomic
def put_venue(*, clinic: Clinic, values: Mapping[str, Any], by: User | None) -> VenueSheet:
    """Put down what is known of the pool. `values`: by field name of VenueSheet; a field that is
    not among them stays as it is, None and "" empty it. Without `by` the caller vouches.

    Raises BadInput whose places are field names; nothing is kept then.
    """
    sheet = _locked(clinic)
    before = {name: getattr(sheet, name) for name in FIELDS}
    errors = _put(sheet, values)
    if errors:
        raise BadInput(errors)
    changed = [name for name in FIELDS if getattr(sheet, name) != before[name]]
    if changed or sheet._state.adding:
        _keep(sheet, changed, by)
    sheet.clinic = clinic  # which knows its sheet from now on
    return sheet


def wrong_in(*, clinic: Clinic, values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """All that would be refused of these values in a sheet that says nothing else."""
    sheet = VenueSheet()
    sheet.clinic = Clinic(course_m=clinic.course_m, time_zone=clinic.time_zone)
    return _put(sheet, values)


def _locked(clinic: Clinic) -> VenueSheet:
    row = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if row.state == Clinic.State.CLOSED:
        raise BadInput([("", _("The clinic is closed; its venue sheet stays as it is."))])
    sheet = VenueSheet.objects.filter(clinic=row).first() or VenueSheet()
    sheet.clinic = row
    return sheet


def _put(sheet: VenueSheet, values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Sets the fields, and says what they cannot be: each by itself, then together."""
    known = {name: values[name] for name in FIELDS if name in values}
    errors: list[tuple[str, str]] = [
        (str(name), _("is not known here.")) for name in values if name not in known
    ]
    errors += _put_fields(sheet, known)
    return errors or _do_not_fit(sheet)


def _put_fields(sheet: VenueSheet, values: Mapping[str, Any]) -> list[tuple[str, str]]:
    errors: list[tuple[str, str]] = []
    for name, value in values.items():
        field = _FIELD[name]
        if isinstance(value, float) and not math.isfinite(value):
            errors.append((name, _("is no number.")))
        elif isinstance(field, models.IntegerField) and isinstance(value, bool | float):
            errors.append((name, _("must be a whole number.")))
        elif value in (None, ""):
            setattr(sheet, name, field.get_default())
        else:
            setattr(sheet, name, value.strip() if isinstance(value, str) else value)
    errors += _refused_by_fields(sheet, [name for name in values if name not in dict(errors)])
    if "depth_profile" in values:
        course_m = sheet.clinic.course_m
        sheet.depth_profile = depth_points(sheet.depth_profile, course_m=course_m, errors=errors)
    return errors


def _refused_by_fields(sheet: VenueSheet, names: list[str]) -> list[tuple[str, str]]:
    apart = {"depth_profile", "ropes_out"}
    leave_out = _FIELD.keys() - (set(names) - apart)
    try:
        sheet.clean_fields(exclude=leave_out)
    except ValidationError as refused:
        told = refused.message_dict
        return [(name, sentence) for name, sentences in told.items() for sentence in sentences]
    return []


def _do_not_fit(sheet: VenueSheet) -> list[tuple[str, str]]:
    """What the fields cannot be together, or today."""
    errors: list[tuple[str, str]] = []
    today = timezone.now().astimezone(sheet.clinic.zone).date()
    sheet.ropes_out = ropes_out(sheet.ropes_out, lanes=sheet.lanes, errors=errors)
    if sheet.permission == VenueSheet.Permission.GIVEN and not sheet.permission_by:
        errors.append(("permission_by", _("Say who gave the permission to film.")))
    for name in ("permission_on", "depth_measured_on"):
        day = getattr(sheet, name)
        if day is not None and day > today:
            errors.append((name, _("This day has not come yet.")))
    if sheet.has_blocks is False and sheet.block_height_m is not None:
        told = _("You say that there are no blocks. Say that there are, or leave this empty.")
        errors.append(("block_height_m", told))
    if sheet.has_window is False and sheet.window:
        told = _("You say that there is no window. Say that there is, or leave this empty.")
        errors.append(("window", told))
    return errors


def _keep(sheet: VenueSheet, changed: list[str], by: User | None) -> None:
    sheet.changed_at, sheet.changed_by = timezone.now(), by
    sheet.save()
    club = sheet.clinic.club
    detail = {"fields": changed}
    record(action="venue.put", by=by, subject=sheet.clinic, club=club, detail=detail)


def has_something_to_copy(*, to: Clinic, from_clinic: Clinic) -> bool:
    return to.pk != from_clinic.pk and venue_of(from_clinic) is not None and _same(to, from_clinic)


def _same(one: Clinic, other: Clinic) -> bool:
    return one.venue.strip().casefold() == other.venue.strip().casefold()


@transaction.atomic
def copy_venue(*, to: Clinic, from_clinic: Clinic, by: User | None) -> VenueSheet | None:
    """What an earlier clinic at the same venue said of the building and the basin, where `to`
    says nothing yet; None if there was no sheet. The depth comes with who measured it and when,
    and only if the course is as long: else the start wall may be another. Permission, lifeguard,
    other users and juniors belong to one occasion and are not copied.

    The caller fetched both clinics through the fence. BadInput: another venue, `to` is closed.
    """
    if not _same(to, from_clinic):
        told = {"venue": from_clinic.venue}
        raise BadInput([("venue", _("That clinic was elsewhere, at %(venue)s.", **told))])
    source = venue_of(from_clinic)
    if source is None:
        return None
    here = VenueSheet.objects.filter(clinic=to).first() or VenueSheet()
    rows = (*COPIED, DEPTH) if to.course_m == from_clinic.course_m else COPIED
    new = [row for row in rows if all(getattr(here, name) in EMPTY for name in row)]
    values = {name: getattr(source, name) for row in new for name in row}
    return put_venue(clinic=to, values=values, by=by)
