from django.urls import URLPattern, path

from clinics.views import clinics, log, plan, progress, slate

urlpatterns: list[URLPattern] = [
    path("clinics/", clinics.clinics, name="clinics"),
    path("clinics/<uuid:pk>/", clinics.clinic, name="clinic"),
    path("clinics/<uuid:pk>/cut/", clinics.clinic_cut, name="clinic-cut"),
    path("clinics/<uuid:pk>/cut/stop/", progress.stop, name="clinic-stop"),
    path("clinics/<uuid:pk>/progress/", progress.progress, name="clinic-progress"),
    path("clinics/<uuid:pk>/plan/", plan.plan, name="clinic-plan"),
    path("clinics/<uuid:pk>/roster/", plan.roster, name="clinic-roster"),
    path("clinics/<uuid:pk>/starts/", log.start_log, name="start-log"),
    path("clinics/<uuid:pk>/starts/undo/", log.undo, name="start-log-undo"),
    path("clinics/<uuid:pk>/starts/file/", log.take_in, name="start-log-file"),
    path("clinics/<uuid:pk>/starts/clock/", log.clock, name="start-log-clock"),
    path("clinics/<uuid:pk>/slate/", slate.slate, name="slate"),
    path("clinics/<uuid:pk>/slate/time/", slate.slate_time, name="slate-time"),
    path("clinics/<uuid:pk>/slate/codes/", slate.slate_codes, name="slate-codes"),
]
