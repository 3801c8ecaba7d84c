"""Who does what at a clinic: posts and who holds them, for all who see the plan; changed by the
club's admins."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import people_at_posts_acts as acts
from clinics.actions.errors import BadInput
from clinics.actions.people_at_posts import people_at_posts
from clinics.actions.people_at_posts_visits import asked_again, stay_until, usual_end
from clinics.actions.tasks import closing_day
from clinics.models import Clinic
from clinics.views import people_told
from clinics.views.cautions_told import told
from clinics.views.people_forms import DivesForm, PutForm, StayForm, TakeOffForm, VisitorForm
from clinics.views.plan_places import plan_places
from portal.models import Membership
from portal.requests import SignedInRequest


def _run(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.run_by(request.user).select_related("club"), pk=pk)


@require_safe
def people(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    seen = Clinic.objects.visible_to(request.user).select_related("club")
    row = get_object_or_404(seen, pk=pk)
    runs = Clinic.objects.run_by(request.user).filter(pk=pk).exists()
    return _page(request, row, runs=runs)


def _page(
    request: SignedInRequest,
    row: Clinic,
    *,
    runs: bool,
    bad: BadInput | None = None,
    invite: VisitorForm | None = None,
    dives: DivesForm | None = None,
) -> HttpResponse:
    now = people_at_posts(row)
    closing = closing_day(row)
    changes = runs and row.state != Clinic.State.CLOSED
    context: dict[str, Any] = {
        "clinic": row,
        "runs": runs,
        "changes": changes,
        "posts": people_told.posts_told(now),
        "loose": now.loose,
        "findings": people_told.findings_told(now, closing),
        "people": now.people,
        "missing": len(now.missing()),
        "dives": people_told.dives_told(now),
        "cautions": people_told.cautions_told(now),
        "closing": closing,
        "errors": [(told(where), told(words)) for where, words in bad.errors] if bad else [],
        "places_of_plan": plan_places(row, "people"),
    }
    if runs:
        context |= {"visits": now.visits, "asked_again": asked_again(row)}
    if changes:
        context["invite"] = invite or _visitor_form(row, people_told.post_choices(now))
        context["dives_form"] = dives or DivesForm(initial={"most_each": row.most_dives_each})
    failed = bad or (invite and invite.errors) or (dives and dives.errors)
    return render(request, "clinics/people.html", context, status=422 if failed else 200)


def _visitor_form(row: Clinic, posts: list[tuple[str, str]], data: Any = None) -> VisitorForm:
    """Says what the last day is if none is chosen, and why."""
    days = {role: usual_end(row, role) for role in (Membership.Role.COACH, Membership.Role.CREW)}
    ends = _(
        "Left empty: %(coach)s for a coach, two weeks after the clinic is expected to be closed, "
        "to answer what is passed on last; %(crew)s for crew, when it is expected to be closed."
    )
    shown = {role.value: date_format(day, "DATE_FORMAT") for role, day in days.items()}
    return VisitorForm(data, posts=posts, ends=ends % shown)


def _there(row: Clinic) -> HttpResponse:
    return redirect("clinics:people", pk=row.pk)


@require_POST
def people_put(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Give somebody a post; what they cannot do beside it is said on the page."""
    row, form = _run(request, pk), PutForm(request.POST)
    if not form.is_valid():
        return _page(request, row, runs=True, bad=_choose())
    said = form.cleaned_data
    try:
        acts.put_at_post(clinic=row, user_id=said["person"], post=said["post"], by=request.user)
    except BadInput as bad:
        return _page(request, row, runs=True, bad=bad)
    return _there(row)


def _choose() -> BadInput:
    return BadInput([("", _("Choose somebody from the list."))])


@require_POST
def people_take_off(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row, form = _run(request, pk), TakeOffForm(request.POST)
    if form.is_valid():
        try:
            acts.take_off_post(clinic=row, duty_id=form.cleaned_data["duty"], by=request.user)
        except BadInput as bad:
            return _page(request, row, runs=True, bad=bad)
    return _there(row)


@require_POST
def people_invite(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A visitor, with a post or without."""
    row = _run(request, pk)
    form = _visitor_form(row, people_told.post_choices(people_at_posts(row)), request.POST)
    if not form.is_valid():
        return _page(request, row, runs=True, invite=form)
    try:
        membership = acts.invite_at_post(clinic=row, by=request.user, **form.cleaned_data)
    except BadInput as bad:
        return _page(request, row, runs=True, bad=bad, invite=form)
    messages.success(request, _works(membership))
    return _there(row)


def _works(membership: Membership) -> str:
    who = {"who": membership.user}
    if membership.until_date is None:
        return _("%(who)s works for the club, without an end.") % who
    ends = date_format(membership.until_date, "DATE_FORMAT")
    return _("%(who)s works for the club until %(ends)s.") % (who | {"ends": ends})


@require_POST
def people_until(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Another last day for a visitor."""
    row, form = _run(request, pk), StayForm(request.POST)
    if not form.is_valid():
        return _page(request, row, runs=True, bad=BadInput([("", _("Give a day."))]))
    rows = row.club.memberships.filter(until_date__isnull=False).select_related("user")
    membership = get_object_or_404(rows, pk=form.cleaned_data["membership"])
    until = form.cleaned_data["until"]
    try:
        changed = stay_until(clinic=row, membership=membership, until=until, by=request.user)
    except BadInput as bad:
        return _page(request, row, runs=True, bad=bad)
    messages.success(request, _works(changed))
    return _there(row)


@require_POST
def people_dives(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """How many dives each were agreed with the lifeguard."""
    row, form = _run(request, pk), DivesForm(request.POST)
    if not _kept(request, row, form):
        return _page(request, row, runs=True, dives=form)
    return _there(row)


def _kept(request: SignedInRequest, row: Clinic, form: Form) -> bool:
    if form.is_valid():
        try:
            most = form.cleaned_data["most_each"]
            acts.set_most_dives(clinic=row, most_each=most, by=request.user)
        except BadInput as bad:
            form.add_error(None, [told(words) for _where, words in bad.errors])
    return not form.errors
