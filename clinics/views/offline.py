"""Pages of the pool that open without a network: their worker, their shells, the app on the phone.

A shell is the page without anybody in it: no name, no token, no pass. What it shows lies in the
browser's own keeping (clinics/static/clinics/offline-store.js), and goes when somebody signs out.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe
from django_permissions_policy.decorators import permissions_policy_override

from clinics.compute.log_file import TOO_CLOSE_S
from clinics.models import Clinic
from clinics.views.consent_pool import pool_shell
from clinics.views.who import me

WORKER = "clinics/offline-worker.js"
PAGE_FILES = (
    "portal/tokens.css",
    "portal/site.css",
    "portal/icon.svg",
    "clinics/start-log.css",
    "clinics/start-log-parts.css",
    "clinics/consent.css",
    "clinics/start-log.js",
    "clinics/consent-pool.js",
)
"""What the templates of both pages name; scripts bring the modules that they import with them."""
ICONS = {"192x192": "clinics/start-log-192.png", "512x512": "clinics/start-log-512.png"}
IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.[^"']+\.js)["']""")
camera_here = permissions_policy_override({**settings.PERMISSIONS_POLICY, "camera": ["self"]})
"""Two phones compare their clocks with the camera: on the start log, and nowhere else."""


def _content(name: str) -> bytes:
    path = finders.find(name)
    if not isinstance(path, str):
        raise FileNotFoundError(f"{name} is no static file")
    return Path(path).read_bytes()


def _normal(path: PurePosixPath) -> str:
    parts: list[str] = []
    for part in path.parts:
        if part == "..":
            parts.pop()
        else:
            parts.append(part)
    return "/".join(parts)


def modules_of(name: str) -> list[str]:
    """The script and all that it imports, each once, as names of static files."""
    found, ahead = [name], [name]
    while ahead:
        one = ahead.pop()
        for told in IMPORT.findall(_content(one).decode()):
            module = _normal(PurePosixPath(one).parent / told)
            if module not in found:
                found.append(module)
                ahead.append(module)
    return found


def kept_files() -> dict[str, str]:
    """Static files that a worker keeps, by the address at which a page asks for them. What a
    script imports is asked for by its plain name; what a template names may carry a hash."""
    files = {}
    for name in PAGE_FILES:
        files[static(name)] = name
        if name.endswith(".js"):
            for module in modules_of(name)[1:]:
                files[f"{settings.STATIC_URL}{module}"] = module
    return files


def release() -> str:
    """Of all files that are kept; another one makes browsers take everything anew. The shell
    itself is taken anew with every visit that has a network."""
    digest = hashlib.sha256(_content(WORKER))
    for address, name in sorted(kept_files().items()):
        digest.update(address.encode() + _content(name))
    return digest.hexdigest()[:16]


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """Its address decides which pages it may answer for: those of clinics, and no others."""
    head = (
        f"const RELEASE = {json.dumps(release())};\nconst FILES = {json.dumps([*kept_files()])};\n"
    )
    return HttpResponse(
        head + _content(WORKER).decode(),
        content_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache"},
    )


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.worked_by(me(request)).select_related("club"), pk=pk)


@require_safe
@camera_here
def start_log_shell(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    context = {"clinic": clinic, "shell": True, "places": [], "locked_s": int(TOO_CLOSE_S)}
    return _shell(render(request, "clinics/start_log.html", context))


@require_safe
def consent_pool_shell(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    return _shell(pool_shell(request, _clinic(request, pk)))


def _shell(response: HttpResponse) -> HttpResponse:
    response["X-Offline-Release"] = release()
    response["Cache-Control"] = "no-store"  # the worker keeps it, nothing else does
    return response


@require_safe
def manifest(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """With it a phone can put the start log beside its apps."""
    clinic = _clinic(request, pk)
    page = reverse("clinics:start-log", args=[clinic.pk])
    told = {
        "id": page,
        "name": f"{_('Start log')}, {clinic.name}",
        "short_name": _("Start log"),
        "start_url": page,
        "scope": page,
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#ffffff",
        "icons": [
            {"src": static(name), "sizes": sizes, "type": "image/png", "purpose": purpose}
            for sizes, name in ICONS.items()
            for purpose in ("any", "maskable")
        ],
    }
    return JsonResponse(
        told, content_type="application/manifest+json", headers={"Cache-Control": "no-store"}
    )
