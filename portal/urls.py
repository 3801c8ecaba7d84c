"""The root URLs. Later packages are named as strings, so that nothing imports upward."""

from django.urls import include, path

urlpatterns = [
    path("", include("portal.site_urls")),
    path("", include("clinics.urls")),
    path("", include("feedback.urls")),
]
