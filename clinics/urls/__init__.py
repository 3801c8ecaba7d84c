from clinics.urls import bring_in, check, plan

app_name = "clinics"
urlpatterns = [*plan.urlpatterns, *bring_in.urlpatterns, *check.urlpatterns]
