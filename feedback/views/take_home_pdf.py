"""The take-home page on paper: one page of A4 if it can be, two at most."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from feedback.actions.take_home_stills import for_paper
from feedback.compute.take_home_paper import on_paper
from feedback.views.take_along_list import NOT_IN_NAMES
from portal.compute.lane_strip import lay_out
from portal.pdf_out import laid_out, libraries_are_there, no_pdf_response, to_save

if TYPE_CHECKING:
    from feedback.views.take_home_page import Page

TEMPLATE = "feedback/take_home_pdf.html"
STRIP_WIDTH = 640.0  # as wide as the page's words, in px of 1/96 inch
FITS = ("roomy", "even", "close", "tight")
"""Stills and letters become smaller from one to the next, until it is one page."""


def take_home_as_pdf(page: Page, request: HttpRequest) -> HttpResponse:
    if not libraries_are_there():
        return no_pdf_response()
    read = {str(still.key): for_paper(still.row) for still in page.pictures}
    pictures = {key: picture for key, picture in read.items() if picture is not None}
    told: dict[str, Any] = {
        "page": page,
        "pictures": [still for still in page.pictures if str(still.key) in pictures],
        "strip": on_paper(lay_out(page.lane), STRIP_WIDTH),
    }
    for fit in FITS:
        pages = laid_out(TEMPLATE, {**told, "fit": fit}, request, pictures=pictures)
        if len(pages.pages) == 1:
            break
    return to_save(file_name(page), bytes(pages.write_pdf()))


def file_name(page: Page) -> str:
    """“Tomas Birk 14 Nov 2026 take-home page.pdf”."""
    entry = page.swim.entry
    words = [entry.swimmer.name, date_format(entry.clinic.date, "j M Y"), _("take-home page")]
    plain = re.sub(r"\s+", " ", NOT_IN_NAMES.sub(" ", " ".join(words)))
    # without control and direction characters: it reads as it is saved
    plain = "".join(sign for sign in plain if unicodedata.category(sign)[0] != "C")
    return plain.strip()[:150] + ".pdf"
