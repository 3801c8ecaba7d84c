from clinics.urls import (
    bring_in,
    check,
    check_swim,
    clocks,
    consent,
    keeping,
    masks,
    my_data,
    plan,
    showing,
)

app_name = "clinics"
urlpatterns = [
    *plan.urlpatterns,
    *masks.urlpatterns,
    *bring_in.urlpatterns,
    *clocks.urlpatterns,
    *check.urlpatterns,
    *check_swim.urlpatterns,
    *showing.urlpatterns,
    *consent.urlpatterns,
    *keeping.urlpatterns,
    *my_data.urlpatterns,
]
