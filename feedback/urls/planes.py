from __future__ import annotations

from django.urls import path

from feedback.views import planes

urlpatterns = [
    path("swims/<uuid:pk>/planes/", planes.place, name="plane-place"),
    path("swims/<uuid:pk>/planes/reading/", planes.reading, name="plane-reading"),
    path(
        "swims/<uuid:pk>/planes/<uuid:plane>/take-away/",
        planes.take_away,
        name="plane-take-away",
    ),
]
