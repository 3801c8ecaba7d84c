from __future__ import annotations

from django.urls import path

from feedback.views import rate_read

urlpatterns = [
    path("swims/<uuid:pk>/rate-read/", rate_read.rate_read, name="rate-read"),
    path("rate-read/<uuid:pk>/remove/", rate_read.rate_read_remove, name="rate-read-remove"),
]
