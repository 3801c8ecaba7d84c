from django.urls import path

from feedback.views import group, shared, shelf, shown

urlpatterns = [
    path("group/", group.group, name="group"),
    path("shown/", shown.shown, name="shown"),
    path("swims/<uuid:pk>/show/", shown.swim_show, name="swim-show"),
    path("shares/<uuid:pk>/end/", shown.share_end, name="share-end"),
    path("clips/<uuid:pk>/publish/", shown.publish_clip, name="publish"),
    path("publications/<uuid:pk>/end/", shown.publication_end, name="publication-end"),
    path("shelf/", shelf.shelf, name="shelf"),
    path("shelf/<uuid:pk>/", shelf.shelf_clip, name="shelf-clip"),
    path("shelf/<uuid:pk>/end/", shown.shelf_end, name="shelf-end"),
    path("clips/<uuid:pk>/shelf/", shelf.shelf_put, name="shelf-put"),
    # open to anyone, each behind its own fence
    path("shared/", shared.shared, name="shared"),
    path("shared/file/<uuid:pk>/", shared.shared_file, name="shared-file"),
    path("shared/clip/<uuid:pk>/minor/", shared.shared_minor, name="shared-minor"),
    path("shared/<str:token>/", shared.shared_link, name="shared-link"),
    path("published/<uuid:pk>/", shared.published, name="published"),
    path("published/file/<uuid:pk>/", shared.published_file, name="published-file"),
    path("published/<uuid:pk>/minor/", shared.published_minor, name="published-minor"),
]
