from django.urls import path

from feedback.urls import compare, drawings, marks, progress, queue, said, seen, showing, take_along
from feedback.views import swim

app_name = "feedback"
urlpatterns = [
    path("swims/<uuid:pk>/", swim.swim, name="swim"),
    *queue.urlpatterns,
    *progress.urlpatterns,
    *said.urlpatterns,
    *drawings.urlpatterns,
    *marks.urlpatterns,
    *compare.urlpatterns,
    *take_along.urlpatterns,
    *seen.urlpatterns,
    *showing.urlpatterns,
]
