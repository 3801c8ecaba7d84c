from __future__ import annotations

from django.urls import path

from feedback.views import marks, measures

urlpatterns = [
    path("swims/<uuid:pk>/marks/", marks.mark, name="mark"),
    path("swims/<uuid:pk>/measures/", measures.measures, name="swim-measures"),
    path("marks/<uuid:pk>/take-away/", marks.take_away, name="mark-take-away"),
]
