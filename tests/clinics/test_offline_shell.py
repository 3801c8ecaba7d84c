"""What a phone may keep of the pool's pages: a shell that names nobody and holds no token, the
files that it needs, and nothing else. In a browser: tests/journeys/test_start_log_offline.py."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client, override_settings
from django.urls import reverse

from clinics.actions.notice import PHONE_DAYS
from clinics.models import Purpose
from clinics.views.offline import kept_files, modules_of, release
from portal.registry import leaving_modules
from tests.cast import Cast, sign_in
from tests.clinics.consent_tools import with_texts

VENDOR = Path(settings.BASE_DIR) / "portal/static/portal/vendor"
NAMES = ("Tomas Birk", "Wren Okada", "Petra Voss", "@harbourlane")


def page(cast: Cast, name: str, person: Any = None) -> Any:
    return sign_in(Client(), person or cast.crew).get(reverse(name, args=[cast.clinic.pk]))


@pytest.mark.parametrize("name", ["clinics:start-log-shell", "clinics:consent-pool-shell"])
def test_a_shell_names_nobody_and_holds_no_token(cast: Cast, name: str) -> None:
    with_texts(cast)
    response = page(cast, name)
    text = response.content.decode()
    assert "csrf" not in text and "csrf" not in response.cookies
    assert "data-pass" not in text and 'name="pass"' not in text
    for told in NAMES:
        assert told not in text
    assert response["Cache-Control"] == "no-store"
    assert response["X-Offline-Release"] == release()
    assert "Content-Security-Policy" in response  # the kept page is as strict as the first


def test_the_shell_of_consent_holds_every_question_and_no_answer(cast: Cast) -> None:
    with_texts(cast)
    text = page(cast, "clinics:consent-pool-shell").content.decode()
    assert text.count('type="checkbox"') == 1 + len(Purpose)
    assert not re.search(r'type="checkbox"[^>]*checked', text)


def test_the_worker_keeps_what_the_shells_ask_for_and_nothing_else(cast: Cast) -> None:
    with_texts(cast)
    response = sign_in(Client(), cast.crew).get(reverse("clinics:offline-worker"))
    assert response["Content-Type"].startswith("text/javascript")
    assert response["Cache-Control"] == "no-cache"  # a new release is seen at once
    head = response.content.decode().splitlines()
    files = set(json.loads(head[1].removeprefix("const FILES = ").rstrip(";")))
    asked: set[str] = set()
    for name in ("clinics:start-log-shell", "clinics:consent-pool-shell"):
        text = page(cast, name).content.decode()
        asked |= set(re.findall(r'<(?:script|link)[^>]* (?:src|href)="(/static/[^"]+)"', text))
    asked = {one for one in asked if not one.endswith(".png")}  # the icon is the system's
    assert asked <= files
    scripts = {one.removeprefix("/static/") for one in asked if one.endswith(".js")}
    modules = {name for script in scripts for name in modules_of(script)}
    assert files - asked == {f"/static/{name}" for name in modules - scripts}
    assert all(finders.find(one.removeprefix("/static/")) for one in files)


def test_another_release_of_any_kept_file_is_another_worker(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clinics.views import offline

    before, content = release(), offline._content
    assert release() == before
    for changed in ("clinics/start-log-clock.js", "portal/tokens.css", "clinics/offline-worker.js"):
        monkeypatch.setattr(offline, "_content", lambda n, c=changed: content(n) + b"//" * (n == c))
        assert release() != before, changed


@override_settings(
    STORAGES={
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "tests.clinics.test_offline_shell.Hashed"},
    }
)
def test_what_a_template_names_is_kept_under_its_hashed_name() -> None:
    """Modules are asked for by the plain names that stand in the scripts."""
    files = kept_files()
    assert files["/static/hashed/clinics/start-log.js"] == "clinics/start-log.js"
    assert files["/static/clinics/start-log-clock.js"] == "clinics/start-log-clock.js"
    assert "/static/clinics/start-log.js" not in files


class Hashed:
    def url(self, name: str) -> str:
        return f"/static/hashed/{name}"


def test_the_camera_is_for_the_start_log_alone(cast: Cast) -> None:
    with_texts(cast)
    for name, may in (
        ("clinics:start-log", True),
        ("clinics:start-log-shell", True),
        ("clinics:consent-pool", False),
        ("clinics:consent-pool-shell", False),
        ("clinics:clinic", False),
    ):
        told = page(cast, name)["Permissions-Policy"]
        assert ("camera=(self)" in told, "camera=()" in told) == (may, not may), name
        assert "microphone=()" in told and "geolocation=()" in told


def test_the_log_can_stand_beside_the_apps_of_a_phone(cast: Cast) -> None:
    """Members as in https://www.w3.org/TR/appmanifest/ (name, start_url, scope, display, icons);
    sizes of icons that browsers ask for before they offer it: 192 and 512."""
    response = page(cast, "clinics:start-log-manifest")
    assert response["Content-Type"] == "application/manifest+json"
    told = json.loads(response.content)
    log = reverse("clinics:start-log", args=[cast.clinic.pk])
    assert told["start_url"] == told["scope"] == told["id"] == log
    assert told["display"] == "standalone"
    assert {icon["sizes"] for icon in told["icons"]} == {"192x192", "512x512"}
    for icon in told["icons"]:
        assert finders.find(icon["src"].removeprefix("/static/"))
    assert page(cast, "clinics:start-log-manifest", cast.other_coach).status_code == 404


def test_signing_out_asks_where_something_may_be_kept(cast: Cast) -> None:
    text = sign_in(Client(), cast.crew).get(reverse("portal:account")).content.decode()
    assert text.count("data-leaving-ask=") == 1 and "portal/leaving.js" in text
    form = re.search(r"<form[^>]*sign-out/[^>]*>", text)
    assert form is not None and " data-leaving" in form[0]
    for module in leaving_modules.all():
        assert f"/static/{module.path}" in text and finders.find(module.path)


def test_the_notice_tells_how_long_phones_keep_names(cast: Cast) -> None:
    (days,) = re.findall(r"KEPT_DAYS = (\d+);", _text("clinics/offline-forget.js"))
    assert int(days) == PHONE_DAYS
    page = sign_in(Client(), cast.tomas).get(reverse("portal:notice")).content.decode()
    assert f"{days} days after the clinic they go when the phone next opens such a page" in page


def _text(name: str) -> str:
    return Path(str(finders.find(name))).read_text()


@pytest.mark.parametrize(
    ("folder", "files", "licence"),
    [
        ("idb", ("idb.js",), "ISC License"),
        ("qr", ("index.js", "decode.js"), "The MIT License"),
    ],
)
def test_vendored_library_is_what_its_readme_names(
    folder: str, files: tuple[str, ...], licence: str
) -> None:
    readme = (VENDOR / folder / "README.md").read_text()
    for name in files:
        content = (VENDOR / folder / name).read_bytes()
        assert hashlib.sha256(content).hexdigest() in readme
        assert f"({len(content)} bytes)" in readme
    assert (VENDOR / folder / "LICENSE").read_text().startswith(licence)
