"""While a restore runs, every request is answered 503 with a page that says so."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from portal.actions import maintenance

RETRY_AFTER_S = 300


class MaintenanceMiddleware:
    """Before anything asks the database: what is in it is not to be seen yet."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not maintenance.is_on():
            return self.get_response(request)
        response = HttpResponse(render_to_string("portal/maintenance.html"), status=503)
        response["Retry-After"] = str(RETRY_AFTER_S)  # RFC 9110, 10.2.3
        response["Cache-Control"] = "no-store"
        return response
