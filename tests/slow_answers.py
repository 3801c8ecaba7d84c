"""A slow network, to look for pages that take an answer for granted: what a page sends is done at
once and answered late. `SLOW_ANSWERS_MS=400 python -m pytest -m journey`."""

from __future__ import annotations

import os
import time
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

DELAY_S = int(os.environ.get("SLOW_ANSWERS_MS", "0")) / 1000


def slow_answers(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    def answer(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        asked_by_script = "application/json" in request.headers.get("Accept", "")
        in_browser = "User-Agent" in request.headers
        if in_browser and (request.method == "POST" or asked_by_script):
            time.sleep(DELAY_S)
        return response

    return answer
