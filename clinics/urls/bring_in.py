from django.urls import path

from clinics.views import bring_in, tus

urlpatterns = [
    path("clinics/<uuid:pk>/bring-in/", bring_in.bring_in, name="bring-in"),
    path("clinics/<uuid:pk>/bring-in/states/", bring_in.states, name="bring-in-states"),
    path("stations/<uuid:pk>/uploads/", bring_in.station_uploads, name="station-uploads"),
    path("stations/<uuid:pk>/upload-form/", bring_in.upload_form, name="upload-form"),
    path("uploads/", tus.tus, name="tus"),
    path("uploads/<uuid:pk>/", tus.upload, name="upload"),
    path("uploads/<uuid:pk>/take-in/", bring_in.take_in_now, name="upload-take-in"),
    path("uploads/<uuid:pk>/give-up/", bring_in.give_up, name="upload-give-up"),
]
