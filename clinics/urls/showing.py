from django.urls import URLPattern, path

from clinics.views import in_picture, minor, showing

urlpatterns: list[URLPattern] = [
    path("swims/<uuid:pk>/check/in-picture/", in_picture.tag, name="in-picture-tag"),
    path("in-picture/<uuid:pk>/take-away/", in_picture.untag, name="in-picture-untag"),
    path("clips/<uuid:pk>/minor/", minor.minor, name="minor"),
    path("minor-reports/<uuid:pk>/", minor.minor_report, name="minor-report"),
    path("minor-reports/<uuid:pk>/film/", minor.minor_film, name="minor-film"),
    path("clubs/<slug:slug>/showing/", showing.showing, name="showing"),
    path("publications/<uuid:pk>/agree/", showing.publication_agree, name="publication-agree"),
    path("publications/<uuid:pk>/refuse/", showing.publication_refuse, name="publication-refuse"),
]
