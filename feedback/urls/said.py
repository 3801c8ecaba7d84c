from django.urls import path

from feedback.views import captions, phrases, said

urlpatterns = [
    path("swims/<uuid:pk>/say/", said.say_something, name="say"),
    path("swims/<uuid:pk>/captions/<uuid:clip>.vtt", captions.captions, name="captions"),
    path("comments/<uuid:pk>/reply/", said.reply_to, name="reply"),
    path("comments/<uuid:pk>/edit/", said.edit_own, name="edit"),
    path("comments/<uuid:pk>/send/", said.send_one, name="send-one"),
    path("comments/<uuid:pk>/take-back/", said.take_back, name="take-back"),
    path("phrases/", phrases.my_phrases, name="phrases"),
    path("phrases/<uuid:pk>/", phrases.phrase, name="phrase"),
    path("phrases/<uuid:pk>/remove/", phrases.remove, name="phrase-remove"),
]
