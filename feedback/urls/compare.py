from __future__ import annotations

from django.urls import path

from feedback.views import compare

urlpatterns = [
    path("swims/<uuid:pk>/compare/", compare.compare, name="compare"),
    path("swims/<uuid:pk>/compare/<uuid:other>/", compare.compare, name="compare-with"),
]
