"""How often something may be tried."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db.models import F
from django.test import Client

from portal.actions import limits
from portal.models import Attempt, OutboxMail
from tests.cast import Cast
from tests.portal.test_sign_in import ask, code_for, signed_in, type_code


def test_sixth_try_for_an_account_is_refused_and_says_when(cast: Cast) -> None:
    for n in range(5):
        assert ask(Client(REMOTE_ADDR=f"203.0.113.{n}"), cast.tomas.email).status_code == 303
    reply = ask(Client(REMOTE_ADDR="203.0.113.99"), cast.tomas.email)
    assert reply.status_code == 429
    assert 590 <= int(reply["Retry-After"]) <= 600
    assert OutboxMail.objects.count() == 5


def test_unknown_account_is_refused_alike(cast: Cast) -> None:
    replies = [
        ask(Client(REMOTE_ADDR=f"203.0.113.{n}"), "no.one@elsewhere.example").status_code
        for n in range(6)
    ]
    assert replies == [303] * 5 + [429]


def test_sixth_try_from_one_address_is_refused(db: None) -> None:
    replies = [ask(Client(), f"no.one{n}@elsewhere.example").status_code for n in range(6)]
    assert replies == [303] * 5 + [429]


def test_forged_forwarding_header_does_not_reset_the_limit(db: None) -> None:
    for n in range(5):
        ask(Client(), f"no.one{n}@elsewhere.example", HTTP_X_FORWARDED_FOR=f"198.51.100.{n}")
    reply = ask(Client(), "no.one9@elsewhere.example", HTTP_X_FORWARDED_FOR="198.51.100.77")
    assert reply.status_code == 429


def test_forged_header_behind_our_own_proxy_does_not_either(db: None, settings) -> None:
    settings.TRUSTED_PROXIES = 1
    forged = [f"198.51.100.{n}, 203.0.113.5" for n in range(6)]
    replies = [
        ask(Client(), f"no.one{n}@elsewhere.example", HTTP_X_FORWARDED_FOR=header).status_code
        for n, header in enumerate(forged)
    ]
    assert replies == [303] * 5 + [429]
    other = ask(Client(), "no.one@elsewhere.example", HTTP_X_FORWARDED_FOR="203.0.113.6")
    assert other.status_code == 303


@pytest.mark.parametrize(
    ("proxies", "header", "seen"),
    [
        (0, "198.51.100.1", "192.0.2.1"),
        (1, "198.51.100.1, 203.0.113.5", "203.0.113.5"),
        (2, "198.51.100.1, 203.0.113.5, 203.0.113.9", "203.0.113.5"),
        (2, "203.0.113.9", "192.0.2.1"),
        (1, "not an address", "0.0.0.0"),
    ],
)
def test_client_address_counts_proxies_from_the_right(settings, proxies, header, seen) -> None:
    settings.TRUSTED_PROXIES = proxies
    meta = {"REMOTE_ADDR": "192.0.2.1", "HTTP_X_FORWARDED_FOR": header}
    assert limits.client_address(meta) == seen


def test_addresses_of_one_household_count_as_one() -> None:
    one, two = "2001:db8:1:2::aaaa", "2001:db8:1:2:ffff::1"
    assert limits.address_key({"REMOTE_ADDR": one}) == limits.address_key({"REMOTE_ADDR": two})
    assert limits.address_key({"REMOTE_ADDR": "2001:db8:1:3::1"}) != limits.address_key(
        {"REMOTE_ADDR": one}
    )


def test_whole_club_signs_in_behind_one_address(cast: Cast) -> None:
    """A pool's network: whoever gets in leaves no try behind."""
    for _ in range(2):
        for user in (cast.tomas, cast.wren, cast.sol, cast.other_swimmer):
            client = Client()
            ask(client, user.email)
            type_code(client, code_for(user.email))
            assert signed_in(client)


def test_stranger_cannot_lock_out_a_known_device(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    type_code(client, code_for(cast.tomas.email))
    client.post("/sign-out/")
    for n in range(6):
        ask(Client(REMOTE_ADDR=f"203.0.113.{n}"), cast.tomas.email)
    assert ask(Client(REMOTE_ADDR="203.0.113.77"), cast.tomas.email).status_code == 429
    assert ask(client, cast.tomas.email).status_code == 303


def test_limit_opens_again_after_the_window(db: None) -> None:
    for _ in range(5):
        limits.count_try("key", at_most=5)
    with pytest.raises(limits.TooOften):
        limits.count_try("key", at_most=5)
    Attempt.objects.update(window_start=F("window_start") - dt.timedelta(minutes=10))
    limits.count_try("key", at_most=5)


def test_counter_keeps_no_addresses(cast: Cast, client: Client) -> None:
    ask(client, cast.tomas.email)
    kept = " ".join(Attempt.objects.values_list("key_hash", flat=True))
    assert "tomas" not in kept and "127.0.0.1" not in kept
