"""`{% job_progress job %}`: a job's progress, live where it was started."""

from __future__ import annotations

from typing import Any

from django import template

from portal.models import Job
from portal.views.jobs import shown

register = template.Library()


@register.inclusion_tag("portal/job_progress.html", takes_context=True)
def job_progress(context: dict[str, Any], job: Job, reload: bool = False) -> dict[str, Any]:
    """Progress, words, cancel and retry. `reload`: the page is loaded again when it has ended.

    The page must also hold `{% job_script %}` once.
    """
    request = context["request"]
    return {
        "job": job,
        "shown": shown(job, request.user),
        "reload": reload,
        "here": request.get_full_path(),
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("portal/job_script.html")
def job_script() -> dict[str, Any]:
    """The one module that keeps every job on the page up to date."""
    return {}
