from django.urls import URLPattern, path

from clinics.views import clip_masks, station_masks

urlpatterns: list[URLPattern] = [
    path("stations/<uuid:pk>/masks/", station_masks.station_masks, name="station-masks"),
    path(
        "station-masks/<uuid:pk>/remove/", station_masks.station_mask_remove, name="station-uncover"
    ),
    path("clips/<uuid:pk>/masks/", clip_masks.clip_cover, name="clip-cover"),
    path("clip-masks/<uuid:pk>/remove/", clip_masks.clip_mask_remove, name="clip-uncover"),
]
