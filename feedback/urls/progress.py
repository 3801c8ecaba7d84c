from django.urls import path

from feedback.views import measures_out, progress, swim_pictures

urlpatterns = [
    path("my-swims/progress/", progress.my_progress, name="my-progress"),
    path("swims/<uuid:pk>/progress/", progress.progress, name="progress"),
    path("swims/<uuid:pk>/pictures/", swim_pictures.swim_pictures, name="swim-pictures"),
    path("measures/", measures_out.measures_out, name="measures-out"),
    path("clinics/<uuid:pk>/measures.csv", measures_out.measures_csv, name="measures-csv"),
    path("clinics/<uuid:pk>/measures.zip", measures_out.measures_package, name="measures-package"),
]
