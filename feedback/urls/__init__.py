from django.urls import path

from feedback.urls import (
    body,
    compare,
    drawings,
    marks,
    planes,
    progress,
    queue,
    rate_read,
    said,
    seen,
    showing,
    take_along,
    take_home,
)
from feedback.views import swim

app_name = "feedback"
urlpatterns = [
    path("swims/<uuid:pk>/", swim.swim, name="swim"),
    *queue.urlpatterns,
    *progress.urlpatterns,
    *said.urlpatterns,
    *drawings.urlpatterns,
    *marks.urlpatterns,
    *planes.urlpatterns,
    *body.urlpatterns,
    *rate_read.urlpatterns,
    *take_home.urlpatterns,
    *compare.urlpatterns,
    *take_along.urlpatterns,
    *seen.urlpatterns,
    *showing.urlpatterns,
]
