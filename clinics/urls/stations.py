from django.urls import URLPattern, path

from clinics.views import kit, stations

PLAN = "clinics/<uuid:pk>/plan/stations/"

urlpatterns: list[URLPattern] = [
    path(PLAN, stations.stations, name="stations"),
    path(f"{PLAN}undo/", stations.stations_undo, name="stations-undo"),
    path("stations/<uuid:pk>/", stations.station, name="station"),
    path("stations/<uuid:pk>/move/", stations.station_move, name="station-move"),
    path("stations/<uuid:pk>/remove/", stations.station_remove, name="station-remove"),
    path("stations/<uuid:pk>/kit/", kit.station_kit, name="station-kit"),
]
