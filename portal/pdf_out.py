"""A template as PDF. Nothing is fetched for it: no URL, no file. Pictures are handed
over as bytes by who asked the fence for them; the template shows them as `picture:NAME`.

Text is escaped by the template engine as on a page. WeasyPrint is loaded when the first PDF is
made, since it brings the system's text libraries with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from PIL import ImageFile

NO_PICTURES: Mapping[str, bytes] = MappingProxyType({})
PICTURE = "picture:"
STYLE = Path(__file__).with_name("pdf.css")


class NotFetched(Exception):
    """A template links to something outside itself: that is a mistake in it."""


def libraries_are_there() -> bool:
    """Are the system's text libraries there? Quick, once they have been loaded."""
    try:
        _weasyprint()
    except OSError:
        return False
    return True


def _weasyprint() -> Any:
    """Loading it lets Pillow take cut-off images for whole ones, in all of this process; what
    people send is read more strictly, so that is set back."""
    strict = ImageFile.LOAD_TRUNCATED_IMAGES
    import weasyprint

    ImageFile.LOAD_TRUNCATED_IMAGES = strict
    return weasyprint


def pdf_bytes(template: str, context: dict[str, Any], request: HttpRequest | None = None) -> bytes:
    return bytes(laid_out(template, context, request).write_pdf())


def laid_out(
    template: str,
    context: dict[str, Any],
    request: HttpRequest | None = None,
    *,
    pictures: Mapping[str, bytes] = NO_PICTURES,
) -> Any:
    """The pages, laid out and not written yet. `pictures`: JPEG by name."""
    pdf = _weasyprint()
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class NothingFetched(URLFetcher):  # type: ignore[misc]
        """A link to anything outside ends the making."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            handed = pictures.get(url.removeprefix(PICTURE)) if url.startswith(PICTURE) else None
            if handed is not None:
                return URLFetcherResponse(url, handed, {"Content-Type": "image/jpeg"})
            raise FatalURLFetchingError(f"a PDF fetches nothing, not {url[:80]}")

    fetcher = NothingFetched()
    html = pdf.HTML(string=render_to_string(template, context, request), url_fetcher=fetcher)
    style = pdf.CSS(string=STYLE.read_text(encoding="utf-8"), url_fetcher=fetcher)
    try:
        return html.render(stylesheets=[style])
    except FatalURLFetchingError as outside:  # no Exception, so the server would not catch it
        raise NotFetched(str(outside)) from None


def pdf_response(
    name: str, template: str, context: dict[str, Any], request: HttpRequest | None = None
) -> HttpResponse:
    """To save as `name`; no cache keeps it."""
    if not libraries_are_there():
        return no_pdf_response()
    return to_save(name, pdf_bytes(template, context, request))


def no_pdf_response() -> HttpResponse:
    told = _("This machine cannot make PDF. Print the page instead; the club's admin can help.")
    return HttpResponse(told, status=503, content_type="text/plain; charset=utf-8")


def to_save(name: str, content: bytes) -> HttpResponse:
    disposition = content_disposition_header(as_attachment=True, filename=name)
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": disposition, "Cache-Control": "private, no-store"},
    )
