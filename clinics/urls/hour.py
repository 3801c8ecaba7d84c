from django.urls import URLPattern, path

from clinics.views import hour

urlpatterns: list[URLPattern] = [
    path("clinics/<uuid:pk>/plan/hour/", hour.pool_hour, name="pool-hour"),
    path("clinics/<uuid:pk>/plan/hour/order/", hour.running_order, name="running-order"),
]
