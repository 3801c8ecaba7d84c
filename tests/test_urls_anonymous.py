"""Every URL asks for sign-in unless it is on the short list.

The URLs are read from the URLconf, so a new one is covered the moment it exists.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from portal.middleware import OPEN_TO_ANYONE

SHORT_LIST = {
    "portal:sign-in",
    "portal:sign-in-code",
    "portal:sign-in-confirm",
    "portal:sign-in-passkey",
    "portal:language",
    "portal:notice",
    "portal:health-live",
    # a certificate of erasure, for who has no account any more: it names nobody
    "portal:erased",
    # by a personal link, which the session has opened; without one they show nothing
    "clinics:sign-link",
    "clinics:sign",
    "clinics:sign-end",
    "clinics:receipt",
    "clinics:receipt-pdf",
    "clinics:receipt-json",
    # by a club's link, or the one in a mail, which the session has opened; they name nobody else
    "clinics:sign-up-link",
    "clinics:sign-up",
    "clinics:sign-up-sent",
    "clinics:sign-up-mine-link",
    "clinics:sign-up-mine",
    "clinics:sign-up-mine-end",
    # behind a fence of their own: a share link, a clip published for anyone
    "feedback:shared-link",
    "feedback:shared",
    "feedback:shared-file",
    "feedback:shared-minor",
    "feedback:published",
    "feedback:published-file",
    "feedback:published-minor",
}
VALUES = {
    "UUIDConverter": uuid.UUID("00000000-0000-4000-8000-000000000000"),
    "IntConverter": 1,
    "SlugConverter": "some-slug",
    "StringConverter": "text",
    "PathConverter": "some/path.bin",
}


def named_urls(resolver: URLResolver, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    for item in resolver.url_patterns:
        if isinstance(item, URLResolver):
            inner = f"{space}{item.namespace}:" if item.namespace else space
            yield from named_urls(item, inner)
        else:
            assert item.name, f"{item.pattern} has no name"
            yield f"{space}{item.name}", item


URLS = list(named_urls(get_resolver()))


def path_of(name: str, pattern: URLPattern) -> str:
    converters = pattern.pattern.converters.items()
    return reverse(name, kwargs={key: VALUES[type(c).__name__] for key, c in converters})


def test_walk_finds_the_urls_of_all_three_packages() -> None:
    assert {name.split(":")[0] for name, _ in URLS} >= {"portal", "clinics", "feedback"}


def test_short_list_is_the_one_written_here() -> None:
    """Whoever opens a URL to anyone changes this test too, and says why."""
    assert OPEN_TO_ANYONE == SHORT_LIST


@pytest.mark.parametrize(("name", "pattern"), URLS, ids=[name for name, _ in URLS])
def test_url_asks_for_sign_in(db: None, name: str, pattern: URLPattern) -> None:
    client, path = Client(), path_of(name, pattern)
    for method in ("get", "head", "post", "put", "patch", "delete", "options"):
        reply = getattr(client, method)(path)
        page = getattr(client, method)(path, headers={"Accept": "text/html"})
        if name in SHORT_LIST:
            assert reply.status_code not in {401, 500}, method
            continue
        assert reply.status_code == 401, method
        if method in {"get", "head"}:
            assert (page.status_code, page["Location"].split("?")[0]) == (302, "/sign-in/")
        else:
            assert page.status_code == 401
