"""What stands in the header around every page."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clinic, Duty
from portal.models import Membership
from tests.cast import Cast, sign_in


def role_shown(user: Any) -> str:
    page = sign_in(Client(), user).get(reverse("portal:account")).content.decode()
    found = re.search(r'<span class="role">, ([^<]*)</span>', page)
    return found.group(1) if found else ""


@pytest.mark.parametrize(
    ("who", "words"),
    [
        ("admin", "club admin"),
        ("coach", "coach"),
        ("crew", "crew"),
        ("checker", "checker"),
        ("tomas", ""),
    ],
)
def test_the_header_says_what_somebody_does(cast: Cast, who: str, words: str) -> None:
    assert role_shown(getattr(cast, who)) == words


def test_a_duty_stands_beside_a_role_and_ends_with_the_clinic(cast: Cast) -> None:
    Duty.objects.create(clinic=cast.clinic, user=cast.coach, kind="checker")
    assert role_shown(cast.coach) == "coach, checker"
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    assert role_shown(cast.coach) == "coach"
    assert role_shown(cast.checker) == "crew"


def test_whoever_has_left_the_club_is_not_called_its_checker(cast: Cast) -> None:
    Membership.objects.filter(user=cast.checker).delete()
    assert role_shown(cast.checker) == ""
