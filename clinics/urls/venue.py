from django.urls import URLPattern, path

from clinics.views import cautions, venue

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/plan/venue/", venue.venue, name="venue"),
    path("clinics/<uuid:pk>/plan/venue/copy/", venue.venue_copy, name="venue-copy"),
    path("clinics/<uuid:pk>/plan/cautions/", cautions.cautions, name="cautions"),
]
