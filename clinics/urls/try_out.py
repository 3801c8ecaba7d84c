from django.urls import URLPattern, path

from clinics.views import try_out

PLAN = "clinics/<uuid:pk>/plan/try-out/"

urlpatterns: list[URLPattern] = [
    path(PLAN, try_out.try_out, name="try-out"),
    path(f"{PLAN}states/", try_out.try_out_states, name="try-out-states"),
    path(f"{PLAN}start/", try_out.try_out_start, name="try-out-start"),
    path(f"{PLAN}end/", try_out.try_out_end, name="try-out-end"),
    path(f"{PLAN}<uuid:station>/bring/", try_out.try_out_bring, name="try-out-bring"),
    path("try-out-files/<uuid:pk>/frame/", try_out.try_out_frame, name="try-out-frame"),
    path("try-out-stills/<uuid:pk>/", try_out.try_out_still, name="try-out-still"),
]
