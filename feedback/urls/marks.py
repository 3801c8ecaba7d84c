from __future__ import annotations

from django.urls import path

from feedback.views import length_strokes, marks, measures, measures_choice, measures_start

urlpatterns = [
    path("swims/<uuid:pk>/marks/", marks.mark, name="mark"),
    path("swims/<uuid:pk>/measures/", measures.measures, name="swim-measures"),
    path("swims/<uuid:pk>/strokes/", length_strokes.length_strokes, name="length-strokes"),
    path("marks/<uuid:pk>/zero/", measures_start.from_mark, name="mark-zero"),
    path("swims/<uuid:pk>/zero/", measures_start.from_found, name="zero-as-found"),
    path("clubs/<slug:slug>/measuring/", measures_choice.choice, name="measuring"),
    path("marks/<uuid:pk>/take-away/", marks.take_away, name="mark-take-away"),
]
