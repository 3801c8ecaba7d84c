"""Following, cancelling and retrying a job over HTTP."""

from __future__ import annotations

import uuid
from collections.abc import Iterator

import pytest
from django.template import Context, Template
from django.test import Client, RequestFactory

from portal.actions.jobs import enqueue
from portal.models import Job
from portal.registry import JobKind, job_kinds
from portal.views.jobs import time_left
from tests.cast import Cast, sign_in


@pytest.fixture
def job(cast: Cast) -> Iterator[Job]:
    """A job that the coach asked for; the admin may see it, nobody else."""
    job_kinds.register(
        JobKind(
            name="test-view",
            queue="quick",
            label="Reading a recording",
            run=lambda job, pulse: None,
            visible_to=lambda jobs, user: jobs if user in (cast.coach, cast.admin) else jobs.none(),
        )
    )
    yield enqueue(kind="test-view", asked_by=cast.coach)
    job_kinds._items.pop("test-view")


def test_job_is_told_to_who_may_see_it_and_absent_for_all_others(cast: Cast, job: Job) -> None:
    for who, user in cast.people().items():
        client = sign_in(Client(), user)
        for verb in ("get", "head", "post"):
            send = getattr(client, verb)
            seen, absent = send(f"/jobs/{job.pk}/"), send(f"/jobs/{uuid.uuid4()}/")
            if user is None:
                assert (seen.status_code, absent.status_code) == (401, 401)
            elif user not in (cast.coach, cast.admin):
                assert (seen.status_code, absent.status_code) == (404, 404), who
                assert seen.content == absent.content
    told = sign_in(Client(), cast.admin).get(f"/jobs/{job.pk}/").json()
    assert (told["state"], told["words"], told["can_cancel"]) == ("waiting", "Waiting", False)
    job.refresh_from_db()
    assert job.state == "waiting"


def test_who_asked_cancels_and_retries(cast: Cast, job: Job) -> None:
    client = sign_in(Client(), cast.coach)
    url, json = f"/jobs/{job.pk}/", {"Accept": "application/json"}
    assert client.get(url).json()["can_cancel"] is True
    told = client.post(url, {"do": "cancel"}, headers=json).json()
    assert (told["state"], told["can_retry"]) == ("cancelled", True)
    told = client.post(url, {"do": "retry"}, headers=json).json()
    assert (told["state"], told["can_cancel"]) == ("waiting", True)
    assert client.post(url, {"do": "explode"}, headers=json).status_code == 400


def test_who_may_only_see_cannot_change(cast: Cast, job: Job) -> None:
    client = sign_in(Client(), cast.admin)
    assert client.post(f"/jobs/{job.pk}/", {"do": "cancel"}).status_code == 404
    job.refresh_from_db()
    assert job.state == "waiting"


def test_change_needs_the_csrf_token(cast: Cast, job: Job) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), cast.coach)
    assert client.post(f"/jobs/{job.pk}/", {"do": "cancel"}).status_code == 403


@pytest.mark.parametrize(
    ("told", "goes_to"),
    [("/clinics/?page=2", "/clinics/?page=2"), ("https://evil.example/", "/"), ("//evil", "/")],
)
def test_form_without_script_goes_back_to_its_page(
    cast: Cast, job: Job, told: str, goes_to: str
) -> None:
    answer = sign_in(Client(), cast.coach).post(f"/jobs/{job.pk}/", {"do": "cancel", "next": told})
    assert (answer.status_code, answer["Location"]) == (302, goes_to)


def test_words_tell_progress_and_failure(cast: Cast, job: Job) -> None:
    client = sign_in(Client(), cast.coach)
    rows = Job.objects.filter(pk=job.pk)

    def words() -> str:
        return client.get(f"/jobs/{job.pk}/").json()["words"]

    rows.update(state="running", progress=0.4, seconds_left=130, lease_until=job.created_at)
    assert words() == "40 %, about 2 minutes left"
    rows.update(cancel_asked=True)
    assert words() == "Stopping"
    rows.update(state="failed", reason="00012.MTS has no video in it.")
    assert words() == "Failed: 00012.MTS has no video in it."
    rows.update(state="done")
    assert words() == "Done"


def test_time_left_is_rounded_for_people() -> None:
    assert [time_left(s) for s in (None, 0.2, 1, 59, 61, 3600, 7200)] == [
        "",
        "about 1 second left",
        "about 1 second left",
        "about 59 seconds left",
        "about 1 minute left",
        "about 60 minutes left",
        "about 2 hours left",
    ]


def test_partial_escapes_and_works_without_script(cast: Cast, job: Job) -> None:
    Job.objects.filter(pk=job.pk).update(state="failed", reason="<script>alert(1)</script>")
    job.refresh_from_db()
    request = RequestFactory().get("/clinics/?a=1&b=2")
    request.user = cast.coach
    template = Template("{% load jobs %}{% job_progress job reload=True %}{% job_script %}")
    page = template.render(Context({"job": job, "request": request}))
    assert f'data-job="/jobs/{job.pk}/"' in page
    assert "&lt;script&gt;" in page and "<script>alert" not in page
    assert 'value="/clinics/?a=1&amp;b=2"' in page
    assert 'src="/static/portal/job-progress.js"' in page
