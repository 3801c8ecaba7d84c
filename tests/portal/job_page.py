"""A page of the tests' own that shows jobs, as any page of the site may."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.template import RequestContext, Template
from django.urls import include, path

from portal.models import Job

PAGE = Template(
    '{% extends "portal/base.html" %}{% load jobs %}'
    "{% block content %}<h1>Jobs</h1>"
    "{% for job in jobs %}{% job_progress job %}{% endfor %}{% endblock %}"
    "{% block scripts %}{% job_script %}{% endblock %}"
)


def page(request: HttpRequest) -> HttpResponse:
    shown = Job.objects.visible_to(request.user).order_by("created_at")
    return HttpResponse(PAGE.render(RequestContext(request, {"jobs": shown})))


urlpatterns = [path("test-jobs/", page), path("", include("portal.urls"))]
