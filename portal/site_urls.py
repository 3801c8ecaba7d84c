from django.urls import path

from portal.views import account, health, home, jobs, notice, people, sign_in

app_name = "portal"
urlpatterns = [
    path("", home.home, name="home"),
    path("notice/", notice.notice, name="notice"),
    path("language/", sign_in.language, name="language"),
    path("sign-in/", sign_in.ask, name="sign-in"),
    path("sign-in/code/", sign_in.code, name="sign-in-code"),
    path("sign-in/confirm/", sign_in.confirm, name="sign-in-confirm"),
    path("sign-in/passkey/", sign_in.passkey, name="sign-in-passkey"),
    path("sign-out/", sign_in.sign_out, name="sign-out"),
    path("account/", account.account, name="account"),
    path("account/sessions/<int:pk>/end/", account.end_session, name="session-end"),
    path("account/sessions/end-others/", account.end_other_sessions, name="sessions-end-others"),
    path("account/fresh/", sign_in.fresh, name="fresh"),
    path("account/fresh/code/", sign_in.fresh_code, name="fresh-code"),
    path("account/fresh/go-on/", sign_in.fresh_go_on, name="fresh-go-on"),
    path("account/second-factor/", account.second_factor, name="factors"),
    path("account/second-factor/use/", sign_in.use_factor, name="factor-use"),
    path("account/second-factor/use/passkey/", sign_in.use_passkey, name="factor-use-passkey"),
    path("account/second-factor/app/", account.factor_app, name="factor-app"),
    path("account/second-factor/passkey/", account.factor_passkey, name="factor-passkey"),
    path("account/second-factor/recovery/", account.factor_recovery, name="factor-recovery"),
    path("account/second-factor/<int:pk>/remove/", account.factor_remove, name="factor-remove"),
    path("clubs/", people.my_clubs, name="my-people"),
    path("clubs/<slug:slug>/people/", people.people, name="people"),
    path("clubs/<slug:slug>/people/<uuid:pk>/end/", people.end, name="membership-end"),
    path("jobs/<uuid:pk>/", jobs.job, name="job"),
    path("health/", health.health, name="health"),
    path("health/live", health.live, name="health-live"),
]
