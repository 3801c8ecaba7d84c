from django.urls import path

from feedback.views import feedback_acts, my_swims, share_out, taken, waiting

urlpatterns = [
    path("my-swims/", my_swims.my_swims, name="my-swims"),
    path("waiting/", waiting.waiting, name="waiting"),
    path("waiting/share/<uuid:pk>/", share_out.share_out, name="share-out"),
    path("swims/<uuid:pk>/take/", taken.take, name="take"),
    path("swims/<uuid:pk>/let-go/", taken.let_go, name="let-go"),
    path("swims/<uuid:pk>/hand-on/", taken.hand_on, name="hand-on"),
    path("swims/<uuid:pk>/feedback/", feedback_acts.words, name="words"),
    path("swims/<uuid:pk>/send/", feedback_acts.send, name="send"),
    path("swims/<uuid:pk>/give/", feedback_acts.give, name="give"),
]
