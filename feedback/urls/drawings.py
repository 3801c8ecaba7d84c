from __future__ import annotations

from django.urls import path

from feedback.views import drawings

urlpatterns = [
    path("swims/<uuid:pk>/drawings/", drawings.draw, name="draw"),
    path("drawings/<uuid:pk>/move/", drawings.move, name="drawing-move"),
    path("drawings/<uuid:pk>/stand/", drawings.stand, name="drawing-stand"),
    path("drawings/<uuid:pk>/rub-out/", drawings.rub_out, name="drawing-rub-out"),
]
