"""What is printed for the day: a page that lists the papers, and each as PDF."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from clinics.actions import papers, papers_stations
from clinics.actions.people_at_posts import station_need
from clinics.compute import number_cards
from clinics.compute.posts import cautions
from clinics.models import Clinic
from clinics.views.papers_told import cards_seen, cautioned, pages_of, posts_told, stations_told
from clinics.views.plan_places import plan_places
from clinics.views.who import me
from clinics.views.words import in_words
from portal.pdf_out import pdf_response

Tell = Callable[[Clinic], dict[str, Any]]


def _seen(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    """Running order, stations and posts: who may see the plan."""
    clinics = Clinic.objects.visible_to(me(request)).select_related("club")
    return get_object_or_404(clinics, pk=pk)


def may_see_consent(request: HttpRequest) -> QuerySet[Clinic]:
    """Clinics whose crew or admin this is: who films must know whom not to."""
    run = Clinic.objects.run_by(me(request)).values("pk")
    worked = Clinic.objects.worked_by(me(request)).values("pk")
    clinics = Clinic.objects.filter(Q(pk__in=run) | Q(pk__in=worked))
    return clinics.select_related("club")


def _pdf(request: HttpRequest, clinic: Clinic, name: str, tell: Tell) -> HttpResponse:
    with timezone.override(clinic.zone):
        told = {"clinic": clinic, "club": clinic.club, "made": papers.made(clinic)} | tell(clinic)
        file = f"{name}-{clinic.slug}.pdf"
        return pdf_response(file, f"clinics/papers_{name.replace('-', '_')}_pdf.html", told)


@require_safe
def papers_page(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _seen(request, pk)
    numbers = papers.numbers_of(clinic)
    told = {
        "clinic": clinic,
        "places_of_plan": plan_places(clinic, "papers"),
        "swimmers": len(numbers),
        "stations": clinic.stations.count(),
        "sees_consent": may_see_consent(request).filter(pk=pk).exists(),
        "kept_days": papers.KEPT_FOR.days,
        "cards": cards_seen(numbers, papers_stations.start_cameras(clinic)),
        "layouts": number_cards.LAYOUTS,
    }
    return render(request, "clinics/papers.html", told)


@never_cache
@require_safe
def running_order_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def tell(clinic: Clinic) -> dict[str, Any]:
        order = papers.running_order(clinic)
        why = in_words(order.why_not).lines() if order.why_not else []
        return {"order": order, "timetable": order.timetable, "why_not": why}

    return _pdf(request, _seen(request, pk), "running-order", tell)


@never_cache
@require_safe
def station_cards_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def tell(clinic: Clinic) -> dict[str, Any]:
        return stations_told(papers_stations.station_cards(clinic))

    return _pdf(request, _seen(request, pk), "station-cards", tell)


@never_cache
@require_safe
def number_cards_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """`layout` in the address: one or two on a page; else what the start camera asks for."""

    def tell(clinic: Clinic) -> dict[str, Any]:
        numbers = papers.numbers_of(clinic)
        layout = number_cards.LAYOUTS.get(request.GET.get("layout", ""))
        if layout is None:
            cards = cards_seen(numbers, papers_stations.start_cameras(clinic))
            layout = cards.layout if cards else number_cards.ONE
        return {"layout": layout, "pages": pages_of(numbers, layout)}

    return _pdf(request, _seen(request, pk), "number-cards", tell)


@never_cache
@require_safe
def consent_status_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def tell(clinic: Clinic) -> dict[str, Any]:
        lines = papers.consent_lines(clinic)
        refused = [line for line in lines if not line.film.in_force]
        return {"lines": lines, "refused": refused, "agreed": len(lines) - len(refused)}

    clinic = get_object_or_404(may_see_consent(request), pk=pk)
    return _pdf(request, clinic, "consent-status", tell)


@never_cache
@require_safe
def posts_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def tell(clinic: Clinic) -> dict[str, Any]:
        lines = papers.post_lines(clinic)
        stations = {line.station.pk: line.station for line in lines if line.station}
        read = cautions([station_need(one) for one in stations.values()])
        missing = any(line.wanted and not line.names for line in lines)
        told = {"posts": posts_told(lines), "cautions": [cautioned(one) for one in read]}
        return told | {"missing": missing, "order": papers.running_order(clinic)}

    return _pdf(request, _seen(request, pk), "posts", tell)
