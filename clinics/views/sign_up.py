"""The page on which swimmers sign up: open to anyone who has the club's link.

The token stands in the first URL only. Whoever is not signed in gets a mail, the same
one whether or not the address is known here, and nothing counts before it is answered.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from clinics.actions import sign_up as acts
from clinics.actions.consent import ConsentRefused
from clinics.actions.consent_names import names_for
from clinics.actions.consent_questions import Question, open_questions, questions
from clinics.actions.consent_state import standings_now
from clinics.actions.consent_texts import texts_of
from clinics.actions.errors import BadInput
from clinics.actions.sign_up_sheet import find_sheet
from clinics.actions.sign_up_state import accepts, counts_of
from clinics.models import SignUp, SignUpSheet, Swimmer
from clinics.views.consent_forms import language_now
from clinics.views.sign_up_forms import SignUpForm, make_pass, said_freshly
from clinics.views.words import in_words
from portal.actions import limits
from portal.freshness import fresh_sign_in_required
from portal.views.sign_in import see_other

if TYPE_CHECKING:
    from portal.models import User

SHEET, SENT = "sign_up_sheet", "sign_up_sent"
OPEN_FOR_S = 4 * 3600  # on a device that is not signed in
FROM_ONE_NETWORK = 40  # in a quarter of an hour: a whole club may sit behind one
TO_ONE_SHEET, DAY = 300, dt.timedelta(days=1)


def shown(
    request: HttpRequest, template: str, told: dict[str, Any], status: int = 200
) -> HttpResponse:
    response = render(request, template, told, status=status)
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response


@never_cache
@require_safe
def sign_up_link(request: HttpRequest, token: str) -> HttpResponse:
    """Good or not, it leads to the same clean URL."""
    sheet = find_sheet(token)
    request.session.pop(SHEET, None)
    if sheet is not None:
        request.session[SHEET] = str(sheet.pk)
        if not request.user.is_authenticated:
            request.session.set_expiry(OPEN_FOR_S)
    return see_other(reverse("clinics:sign-up"))


@dataclass(frozen=True)
class Who:
    """Who signs up: what the account says, and what is still to be asked. `choices`: the user's
    swimmers at this club, where there is something to choose."""

    user: User | None = None
    swimmer: Swimmer | None = None
    choices: list[Swimmer] = field(default_factory=list)
    must_choose: bool = False

    @property
    def name(self) -> str:
        return self.swimmer.name if self.swimmer else (self.user.name if self.user else "")


def _who(request: HttpRequest, sheet: SignUpSheet) -> Who:
    if not request.user.is_authenticated:
        return Who()
    user: User = request.user  # type: ignore[assignment]
    mine = list(user.swimmers.filter(club=sheet.clinic.club).order_by("name"))
    said = request.POST.get("as") or request.GET.get("as") or ""
    if said == "new" or not mine:
        return Who(user, None, mine)
    chosen = next((one for one in mine if str(one.pk) == said), None)
    if chosen is None and len(mine) == 1:
        chosen = mine[0]
    return Who(user, chosen, mine, must_choose=chosen is None)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_up(request: HttpRequest) -> HttpResponse:
    sheet = _opened(request)
    if sheet is None or not accepts(sheet):
        return shown(request, "clinics/sign_up_gone.html", {"sheet": sheet})
    who = _who(request, sheet)
    if request.method == "POST":
        return _take(request, sheet, who)
    return _page(request, sheet, who) if who.user is None else _fresh_page(request, sheet, who)


def _opened(request: HttpRequest) -> SignUpSheet | None:
    pk = request.session.get(SHEET)
    rows = SignUpSheet.objects.select_related("clinic__club")
    return rows.filter(pk=uuid.UUID(pk)).first() if pk else None


def _form(request: HttpRequest, sheet: SignUpSheet, who: Who) -> SignUpForm:
    form = SignUpForm(
        request.POST or None,
        questions=_questions(sheet, who.swimmer),
        ask_name=who.swimmer is None,
        ask_email=who.user is None,
    )
    form.initial["name"] = "" if who.choices else who.name
    return form


def _questions(sheet: SignUpSheet, swimmer: Swimmer | None) -> list[Question]:
    """Whoever the account knows is asked only what is open; a stranger everything, since what
    somebody answered before is not for strangers."""
    club = sheet.clinic.club
    texts, names = texts_of(club), names_for(club, sheet.clinic)
    told = standings_now(swimmer, texts, names) if swimmer else None
    return open_questions(questions(texts, names, language_now(), told))


def _page(
    request: HttpRequest,
    sheet: SignUpSheet,
    who: Who,
    form: SignUpForm | None = None,
    status: int = 200,
) -> HttpResponse:
    mine = SignUp.objects.filter(sheet=sheet)
    told = {
        "sheet": sheet,
        "clinic": sheet.clinic,
        "club": sheet.clinic.club,
        "counts": counts_of(sheet),
        "who": who,
        "form": form or _form(request, sheet, who),
        "pass": make_pass(request) if who.user else "",
        "mine": list(mine.own_of(who.user).exclude(state="withdrawn")) if who.user else [],
    }
    return shown(request, "clinics/sign_up.html", told, status=status)


_fresh_page = fresh_sign_in_required(_page)


def _take(request: HttpRequest, sheet: SignUpSheet, who: Who) -> HttpResponse:
    form = _form(request, sheet, who)
    if who.user is not None and not said_freshly(request):
        form.add_error(None, _stale())
    if who.must_choose or not form.is_valid():
        return _page(request, sheet, who, form, status=422)
    try:
        _count_tries(request, sheet, form)
    except limits.TooOften as error:
        return _too_often(request, sheet, who, form, error)
    try:
        row = _sign_up(sheet, who, form)
    except (BadInput, ConsentRefused) as refusal:
        form.add_error(None, _sentences(refusal))
        return _page(request, sheet, who, form, status=422)
    return _signed_up(request, who, row)


def _stale() -> str:
    return _(
        "You signed in a while ago. Sign in anew in another tab, then send this once more: "
        "nothing that you wrote is lost."
    )


def _sentences(refusal: Exception) -> list[str]:
    return in_words(refusal).lines() if isinstance(refusal, BadInput) else [str(refusal)]


def _sign_up(sheet: SignUpSheet, who: Who, form: SignUpForm) -> SignUp:
    said = form.cleaned_data
    return acts.sign_up(
        sheet=sheet,
        name=said.get("name") or who.name,
        email=who.user.email if who.user else said["email"],
        details=form.details(),
        notes=form.notes(),
        answers=form.answers(),
        by=who.user,
        swimmer=who.swimmer,
        client_id=said["client_id"],
    )


def _signed_up(request: HttpRequest, who: Who, row: SignUp) -> HttpResponse:
    if who.user is None:
        request.session[SENT] = row.email
        return see_other(reverse("clinics:sign-up-sent"))
    return see_other(reverse("clinics:my-sign-up", args=[row.pk]))


def _count_tries(request: HttpRequest, sheet: SignUpSheet, form: SignUpForm) -> None:
    """Each writes a mail: few to one address, not many from one network, or for one sheet."""
    if request.user.is_authenticated:
        limits.count_try(f"sign-up:user:{request.user.pk}", at_most=FROM_ONE_NETWORK)
        return
    email = form.cleaned_data["email"].lower()
    limits.count_try(f"sign-up:address:{email}", at_most=settings.TRIES)
    network = limits.address_key(request.META)
    limits.count_try(f"sign-up:network:{network}", at_most=FROM_ONE_NETWORK)
    limits.count_try(f"sign-up:sheet:{sheet.pk}", at_most=TO_ONE_SHEET, window=DAY)


def _too_often(
    request: HttpRequest, sheet: SignUpSheet, who: Who, form: SignUpForm, error: limits.TooOften
) -> HttpResponse:
    """What was typed stays on the page."""
    minutes = -(-error.retry_after_s // 60)
    told = _("That was tried too often. Send it once more in %(minutes)d minutes.")
    form.add_error(None, told % {"minutes": minutes})
    response = _page(request, sheet, who, form, status=429)
    response["Retry-After"] = str(error.retry_after_s)
    return response


@never_cache
@require_safe
def sign_up_sent(request: HttpRequest) -> HttpResponse:
    """The same for every address."""
    sheet = _opened(request)
    told = {"email": request.session.get(SENT, ""), "sheet": sheet}
    return shown(request, "clinics/sign_up_sent.html", told)
