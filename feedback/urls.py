from django.urls import path

from feedback.views import my_swims, said, swim, waiting

app_name = "feedback"
urlpatterns = [
    path("my-swims/", my_swims.my_swims, name="my-swims"),
    path("waiting/", waiting.waiting, name="waiting"),
    path("swims/<uuid:pk>/", swim.swim, name="swim"),
    path("swims/<uuid:pk>/say/", said.say_something, name="say"),
    path("swims/<uuid:pk>/give/", said.give, name="give"),
    path("comments/<uuid:pk>/reply/", said.reply_to, name="reply"),
    path("comments/<uuid:pk>/edit/", said.edit_own, name="edit"),
]
