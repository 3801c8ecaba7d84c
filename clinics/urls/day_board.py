from django.urls import URLPattern, path

from clinics.views import day_board

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/day/", day_board.day_board, name="day-board"),
    path("clinics/<uuid:pk>/day/wish/", day_board.wish, name="day-wish"),
    path("clinics/<uuid:pk>/day/station/", day_board.station_word, name="day-station"),
]
