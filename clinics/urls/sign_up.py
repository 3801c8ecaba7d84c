from django.urls import URLPattern, path

from clinics.views import sign_up, sign_up_admin, sign_up_mine, sign_up_notes, sign_up_take_in

urlpatterns: list[URLPattern] = [
    # for anyone with the club's link; a token comes last, so that it is never one of the words
    path("sign-up/", sign_up.sign_up, name="sign-up"),
    path("sign-up/sent/", sign_up.sign_up_sent, name="sign-up-sent"),
    path("sign-up/mine/", sign_up_mine.mine, name="sign-up-mine"),
    path("sign-up/mine/end/", sign_up_mine.mine_end, name="sign-up-mine-end"),
    path("sign-up/mine/<slug:token>/", sign_up_mine.mine_link, name="sign-up-mine-link"),
    path("sign-up/<slug:token>/", sign_up.sign_up_link, name="sign-up-link"),
    # the account's own
    path("my-sign-ups/", sign_up_mine.my_sign_ups, name="my-sign-ups"),
    path("my-sign-ups/<uuid:pk>/", sign_up_mine.my_sign_up, name="my-sign-up"),
    # the club's
    path("clinics/<uuid:pk>/plan/sign-up/", sign_up_admin.sign_ups, name="sign-ups"),
    path("clinics/<uuid:pk>/plan/sign-up/csv/", sign_up_admin.sign_ups_csv, name="sign-ups-csv"),
    path("clinics/<uuid:pk>/plan/sign-up/link/", sign_up_admin.poster, name="sign-up-poster"),
    path("clinics/<uuid:pk>/plan/sign-up/add/", sign_up_admin.add, name="sign-up-add"),
    path("clinics/<uuid:pk>/plan/sign-up/notes/", sign_up_notes.notes, name="sign-up-notes"),
    path(
        "clinics/<uuid:pk>/plan/sign-up/take-in/", sign_up_take_in.take_in, name="sign-up-take-in"
    ),
    path("clinics/<uuid:pk>/plan/sign-up/<uuid:sign_up>/", sign_up_admin.act, name="sign-up-act"),
]
