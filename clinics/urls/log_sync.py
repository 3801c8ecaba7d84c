from django.urls import URLPattern, path

from clinics.views import log_sync, offline

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/starts/state.json", log_sync.start_log_state, name="start-log-state"),
    path("clinics/<uuid:pk>/starts/sync/", log_sync.start_log_sync, name="start-log-sync"),
    path("clinics/offline.js", offline.worker, name="offline-worker"),
    path("clinics/<uuid:pk>/starts/shell/", offline.start_log_shell, name="start-log-shell"),
    path("clinics/<uuid:pk>/starts/app.webmanifest", offline.manifest, name="start-log-manifest"),
    path(
        "clinics/<uuid:pk>/consent/pool/shell/",
        offline.consent_pool_shell,
        name="consent-pool-shell",
    ),
]
