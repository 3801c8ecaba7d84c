from __future__ import annotations

from django.urls import path

from feedback.views import take_home, take_home_choose

AT = "swims/<uuid:pk>/take-home/"
urlpatterns = [
    path(AT, take_home.take_home, name="take-home"),
    path(f"{AT}pdf/", take_home.take_home_pdf, name="take-home-pdf"),
    path(f"{AT}stills/<uuid:still>/", take_home.take_home_still, name="take-home-still"),
    path(f"{AT}choose/", take_home_choose.choose, name="take-home-choose"),
    path(f"{AT}give/", take_home_choose.give, name="take-home-give"),
    path(f"{AT}take-back/", take_home_choose.take_back, name="take-home-take-back"),
    path(f"{AT}make-stills/", take_home_choose.stills, name="take-home-make-stills"),
]
