from django.urls import URLPattern, path

from clinics.views import fit, heard_starts, recording_frames, recordings, ties

urlpatterns: list[URLPattern] = [
    path("recordings/<uuid:pk>/", recordings.recording, name="recording"),
    path("recordings/<uuid:pk>/strip/", recording_frames.strip, name="recording-strip"),
    path("recordings/<uuid:pk>/frames/", recording_frames.frames, name="recording-frames"),
    path(
        "recordings/<uuid:pk>/frames/<int:number>/", recording_frames.frame, name="recording-frame"
    ),
    path("recordings/<uuid:pk>/fit/", fit.recording_fit, name="recording-fit"),
    path("recordings/<uuid:pk>/ties/", ties.tie, name="recording-tie"),
    path("recordings/<uuid:pk>/ties/two/", ties.tie_two, name="tie-two"),
    path("recordings/<uuid:pk>/place/", ties.place, name="recording-place"),
    path("recordings/<uuid:pk>/slow-motion/", ties.slow_motion, name="recording-slow-motion"),
    path("ties/<uuid:pk>/remove/", ties.tie_remove, name="tie-remove"),
    path("clinics/<uuid:pk>/fit/", fit.clinic_fit, name="clinic-fit"),
    path("clinics/<uuid:pk>/heard-starts/", heard_starts.heard_starts, name="heard-starts"),
]
