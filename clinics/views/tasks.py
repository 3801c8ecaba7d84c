"""Before the day: what is due for a clinic, ticked by whoever it is for; moved, added and removed
by the club's admins."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.actions import tasks_acts as acts
from clinics.actions.errors import BadInput
from clinics.actions.tasks import TaskLine, roles_of, tasks_of
from clinics.compute.tasks_ahead import Role
from clinics.models import Clinic
from clinics.views.cautions_told import told
from clinics.views.plan_places import plan_places
from clinics.views.tasks_told import OwnTaskForm, TaskDayForm, groups_told
from portal.requests import SignedInRequest


def _seen(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    seen = Clinic.objects.visible_to(request.user).select_related("club")
    return get_object_or_404(seen, pk=pk)


def _run(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.run_by(request.user).select_related("club"), pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def tasks(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The list; posting adds one of the club's own."""
    if request.method != "POST":
        return _page(request, _seen(request, pk))
    row, form = _run(request, pk), OwnTaskForm(request.POST)
    if form.is_valid():
        try:
            acts.add_task(clinic=row, by=request.user, **form.cleaned_data)
        except BadInput as bad:
            form.add_error(None, [told(words) for _where, words in bad.errors])
        else:
            return redirect("clinics:tasks", pk=row.pk)
    return _page(request, row, own=form)


def _page(
    request: SignedInRequest,
    row: Clinic,
    *,
    bad: BadInput | None = None,
    own: OwnTaskForm | None = None,
) -> HttpResponse:
    roles = roles_of(row, request.user)
    is_open = row.state != Clinic.State.CLOSED
    changes = is_open and Role.ADMIN in roles
    context: dict[str, Any] = {
        "clinic": row,
        "groups": groups_told(tasks_of(row), roles if is_open else frozenset()),
        "changes": changes,
        "own": (own or OwnTaskForm(initial={"day": row.date})) if changes else None,
        "errors": [(told(where), told(words)) for where, words in bad.errors] if bad else [],
        "places_of_plan": plan_places(row, "tasks"),
    }
    status = 422 if bad or own else 200
    return render(request, "clinics/tasks.html", context, status=status)


def _line(request: SignedInRequest, row: Clinic, key: str) -> TaskLine:
    """A task of the clinic that is this person's to tick; else there is none."""
    roles = roles_of(row, request.user)
    for line in tasks_of(row):
        if line.key == key and line.due.task.for_role in roles:
            return line
    raise Http404


def _done(request: SignedInRequest, row: Clinic, act: Callable[[], object]) -> HttpResponse:
    try:
        act()
    except BadInput as bad:
        return _page(request, row, bad=bad)
    return redirect("clinics:tasks", pk=row.pk)


@require_POST
def task_tick(request: SignedInRequest, pk: uuid.UUID, key: str) -> HttpResponse:
    """Done; or, with `undo`, not done after all."""
    row = _seen(request, pk)
    line = _line(request, row, key)
    act = acts.untick_task if "undo" in request.POST else acts.tick_task
    return _done(request, row, lambda: act(clinic=row, key=line.key, by=request.user))


@require_POST
def task_move(request: SignedInRequest, pk: uuid.UUID, key: str) -> HttpResponse:
    row = _run(request, pk)
    line, form = _line(request, row, key), TaskDayForm(request.POST)
    if not form.is_valid():
        return _page(request, row, bad=BadInput([("", _("Give a day."))]))
    day = form.cleaned_data["day"]
    return _done(
        request, row, lambda: acts.move_task(clinic=row, key=line.key, day=day, by=request.user)
    )


@require_POST
def task_remove(request: SignedInRequest, pk: uuid.UUID, key: str) -> HttpResponse:
    """One of the club's own."""
    row = _run(request, pk)
    line = _line(request, row, key)
    answer = _done(
        request, row, lambda: acts.remove_task(clinic=row, key=line.key, by=request.user)
    )
    if answer.status_code == 302:
        messages.success(request, _("The task is gone."))
    return answer
