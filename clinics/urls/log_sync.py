from django.urls import URLPattern, path

from clinics.views import log_sync

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/starts/state.json", log_sync.start_log_state, name="start-log-state"),
    path("clinics/<uuid:pk>/starts/sync/", log_sync.start_log_sync, name="start-log-sync"),
]
