"""A person's own sign-up: confirmed, seen, changed and taken back; by the link in the mail, or
signed in. The link's token stands in the first URL only, and opening it changes
nothing: mail scanners open links, too."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import sign_up as acts
from clinics.actions.consent import ConsentRefused
from clinics.actions.errors import BadInput
from clinics.actions.sign_up_answers import end_answer
from clinics.actions.sign_up_end import delete, withdraw
from clinics.actions.sign_up_mail import find_by_pk, find_by_token
from clinics.actions.sign_up_state import with_place
from clinics.models import Purpose, SignUp
from clinics.views.sign_up import OPEN_FOR_S, shown
from clinics.views.sign_up_forms import said_freshly
from clinics.views.sign_up_told import change_form, told_of
from clinics.views.who import me
from clinics.views.words import in_words
from portal.freshness import fresh_sign_in_required, is_fresh
from portal.views.sign_in import see_other

if TYPE_CHECKING:
    from clinics.views.sign_up_forms import ChangeForm
    from portal.models import User

OPENED = "sign_up_mine"
State = SignUp.State


@dataclass(frozen=True)
class Opened:
    """`by_link`: by the mail's link, else by the account. `user`: who is signed in, if it is
    theirs; only then injuries are shown."""

    sign_up: SignUp
    by_link: bool
    user: User | None


def _open(request: HttpRequest, row: SignUp, *, by_link: bool) -> HttpResponse:
    request.session[OPENED] = {"pk": str(row.pk), "by_link": by_link}
    return see_other(reverse("clinics:sign-up-mine"))


def _opened(request: HttpRequest) -> Opened | None:
    """Asked on each request: sign-ups go, and accounts are left."""
    told: dict[str, Any] | None = request.session.get(OPENED)
    row = find_by_pk(told["pk"]) if told else None
    if told is None or row is None:
        return None
    owns = request.user.is_authenticated and SignUp.objects.own_of(me(request)).filter(pk=row.pk)
    user = me(request) if owns and owns.exists() else None
    if user is None and not told["by_link"]:
        return None
    return Opened(row, told["by_link"], user)


@never_cache
@require_safe
def mine_link(request: HttpRequest, token: str) -> HttpResponse:
    """Good or not, it leads to the same clean URL."""
    row = find_by_token(token)
    request.session.pop(OPENED, None)
    if row is None:
        return see_other(reverse("clinics:sign-up-mine"))
    if not request.user.is_authenticated:
        request.session.set_expiry(OPEN_FOR_S)
    return _open(request, row, by_link=True)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def mine(request: HttpRequest) -> HttpResponse:
    opened = _opened(request)
    if opened is None:
        return shown(request, "clinics/sign_up_mine_gone.html", {})
    if request.method == "POST":
        return _confirm(request, opened) if "confirm" in request.POST else _change(request, opened)
    if "change" in request.GET and not opened.by_link:
        return _fresh_page(request, opened)
    return _page(request, opened)


def _page(
    request: HttpRequest, opened: Opened, form: ChangeForm | None = None, status: int = 200
) -> HttpResponse:
    row = opened.sign_up
    may_change = opened.by_link or is_fresh(request) or form is not None
    told = told_of(request, row, opened.user, may_change=may_change, form=form)
    template = "sign_up_confirm" if row.state == State.TO_CONFIRM else "sign_up_mine"
    return shown(request, f"clinics/{template}.html", told, status=status)


_fresh_page = fresh_sign_in_required(_page)


def _confirm(request: HttpRequest, opened: Opened) -> HttpResponse:
    """The one act that makes it count; a form of ours posts it, no mail scanner does."""
    try:
        row = acts.confirm(sign_up=opened.sign_up)
    except BadInput as bad:
        messages.error(request, " ".join(in_words(bad).lines()))
        return see_other(reverse("clinics:sign-up-mine"))
    told = {
        State.SIGNED_UP: _("You have a place."),
        State.WAITING: _("All places are taken: you are on the waiting list."),
    }
    messages.success(request, told.get(State(row.state), _("It is kept.")))
    return _open(request, row, by_link=opened.by_link)


def _change(request: HttpRequest, opened: Opened) -> HttpResponse:
    form = change_form(request, opened.sign_up, opened.user)
    if form is None:
        return see_other(reverse("clinics:sign-up-mine"))
    if not opened.by_link and not said_freshly(request):
        form.add_error(None, _("You signed in a while ago. Sign in anew, then send it once more."))
    if not form.is_valid():
        return _page(request, opened, form, status=422)
    try:
        acts.change(
            sign_up=opened.sign_up,
            details=form.details() if form.plans() else None,
            notes=form.notes(),
            answers=form.answers(),
            by=opened.user,
        )
    except (BadInput, ConsentRefused) as refusal:
        told = in_words(refusal).lines() if isinstance(refusal, BadInput) else [str(refusal)]
        form.add_error(None, told)
        return _page(request, opened, form, status=422)
    messages.success(request, _("It is kept."))
    return see_other(reverse("clinics:sign-up-mine"))


@never_cache
@require_POST
def mine_end(request: HttpRequest) -> HttpResponse:
    """One click each, as giving was; nothing more is asked."""
    opened = _opened(request)
    if opened is None:
        return see_other(reverse("clinics:sign-up-mine"))
    row, by, purpose = opened.sign_up, opened.user, request.POST.get("purpose", "")
    if purpose in Purpose.values:
        end_answer(sign_up=row, purpose=purpose, by=by)
        messages.success(request, _("Withdrawn. It holds from now on."))
    elif request.POST.get("do") == "withdraw":
        withdraw(sign_up=row, by=by)
        messages.success(request, _("Your sign-up is taken back."))
    elif request.POST.get("do") == "delete":
        delete(sign_up=row, by=by)
        messages.success(request, _("Your sign-up is deleted."))
    return see_other(reverse("clinics:sign-up-mine"))


# --- on the account ------------------------------------------------------------------------------


@require_safe
def my_sign_ups(request: HttpRequest) -> HttpResponse:
    rows = with_place(SignUp.objects.own_of(me(request)))
    rows = rows.select_related("sheet__clinic__club", "entry").order_by("-sheet__clinic__date")
    told: dict[str, Any] = {"rows": list(rows)}
    return render(request, "clinics/my_sign_ups.html", told)


@require_safe
def my_sign_up(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    row = get_object_or_404(SignUp.objects.own_of(me(request)), pk=pk)
    return _open(request, row, by_link=False)
