from django.urls import path

from feedback.views import seen

urlpatterns = [path("my-swims/seen/", seen.seen, name="seen")]
