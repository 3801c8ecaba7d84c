from django.urls import URLPattern, path

from clinics.views import my_data

urlpatterns: list[URLPattern] = [
    path("my-data/", my_data.my_data, name="my-data"),
    path("my-data/<uuid:pk>/take/", my_data.my_data_take, name="my-data-take"),
    path("my-data/<uuid:pk>/erase/", my_data.my_data_erase, name="my-data-erase"),
    path("my-data/<uuid:pk>/write/", my_data.my_data_write, name="my-data-write"),
    path("my-data/requests/<uuid:pk>/file/", my_data.my_data_file, name="my-data-file"),
    path(
        "my-data/requests/<uuid:pk>/take-back/",
        my_data.my_data_take_back,
        name="my-data-take-back",
    ),
    path("my-data/swims/<uuid:pk>/", my_data.my_data_swim, name="my-data-swim"),
]
