from django.urls import URLPattern, path

from clinics.views import calendar_file, papers

PLAN = "clinics/<uuid:pk>/plan/"

urlpatterns: list[URLPattern] = [
    path(f"{PLAN}papers/", papers.papers_page, name="papers"),
    path(
        f"{PLAN}papers/running-order.pdf",
        papers.running_order_pdf,
        name="running-order-pdf",
    ),
    path(
        f"{PLAN}papers/stations.pdf",
        papers.station_cards_pdf,
        name="station-cards-pdf",
    ),
    path(
        f"{PLAN}papers/numbers.pdf",
        papers.number_cards_pdf,
        name="number-cards-pdf",
    ),
    path(
        f"{PLAN}papers/consent.pdf",
        papers.consent_status_pdf,
        name="consent-status-pdf",
    ),
    path(f"{PLAN}papers/posts.pdf", papers.posts_pdf, name="posts-pdf"),
    path(f"{PLAN}calendar.ics", calendar_file.calendar_file, name="calendar-file"),
]
