from django.urls import URLPattern, path

from clinics.views import check, check_acts, check_swim, clip_files, consent

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/check/", check.check, name="check"),
    path("clinics/<uuid:pk>/check/confirm/", check_acts.check_confirm, name="check-confirm"),
    path("clinics/<uuid:pk>/check/pass/", check_acts.check_pass, name="check-pass"),
    path("clinics/<uuid:pk>/check/swap/", check_acts.check_swap, name="check-swap"),
    path("clinics/<uuid:pk>/check/undo/", check_acts.check_undo, name="check-undo"),
    path("clinics/<uuid:pk>/check/done/", check.check_done, name="check-done"),
    path("clinics/<uuid:pk>/close/", check.close, name="close"),
    path("clinics/<uuid:pk>/open-again/", check.open_again, name="open-again"),
    path("swims/<uuid:pk>/check/", check_swim.check_swim, name="check-swim"),
    path("swims/<uuid:pk>/not-me/", check.not_me, name="not-me"),
    path("clip-files/<uuid:pk>/", clip_files.clip_file, name="clip-file"),
    path("clip-files/<uuid:pk>/frames.json", clip_files.clip_file_frames, name="clip-file-frames"),
    path("clinics/<uuid:pk>/consent/", consent.consent, name="consent"),
    path(
        "clinics/<uuid:pk>/consent/<uuid:entry>/record/",
        consent.consent_record,
        name="consent-record",
    ),
    path(
        "clinics/<uuid:pk>/consent/<uuid:entry>/end/",
        consent.consent_end,
        name="consent-end",
    ),
]
