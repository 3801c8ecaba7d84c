from __future__ import annotations

from django.urls import path

from feedback.views import take_along

urlpatterns = [
    path("swims/<uuid:pk>/take-along/", take_along.take_along, name="take-along"),
    path("take-along/<uuid:pk>/file/", take_along.take_along_file, name="take-along-file"),
    path("take-along/<uuid:pk>/remove/", take_along.take_along_remove, name="take-along-remove"),
]
