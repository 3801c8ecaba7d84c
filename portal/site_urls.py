from django.urls import path

from portal.views import home

app_name = "portal"
urlpatterns = [
    path("", home.home, name="home"),
]
