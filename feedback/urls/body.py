from __future__ import annotations

from django.urls import path

from feedback.views import body

urlpatterns = [
    path("swims/<uuid:pk>/body/", body.body, name="body"),
    path("swims/<uuid:pk>/body/table/", body.table, name="body-table"),
    path("body/<uuid:pk>/take-away/", body.take_away, name="body-take-away"),
]
