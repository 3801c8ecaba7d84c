from django.urls import path

from clinics.views import custody, holds, keeping

urlpatterns = [
    path("clubs/<slug:slug>/keeping/", keeping.keeping, name="keeping"),
    path("clubs/<slug:slug>/keeping/rules/", keeping.rules, name="keeping-rules"),
    path("clubs/<slug:slug>/holds/", holds.holds, name="holds"),
    path("clubs/<slug:slug>/holds/<slug:kind>/<uuid:of>/", holds.hold_new, name="hold"),
    path("clubs/<slug:slug>/holds/<uuid:pk>/end/", holds.hold_end, name="hold-end"),
    path("clinics/<uuid:pk>/keeping/", keeping.clinic_keeping, name="clinic-keeping"),
    path("clinics/<uuid:pk>/custody/", custody.custody, name="custody"),
    path("custody/<uuid:pk>/", custody.note, name="custody-note"),
]
