from django.urls import URLPattern, path

from clinics.views import (
    consent,
    consent_paper,
    consent_pool,
    consent_texts,
    my_consent,
    receipt,
    sign,
)

urlpatterns: list[URLPattern] = [
    # the swimmer's own
    path("my-consent/", my_consent.my_consent, name="my-consent"),
    path(
        "my-consent/<uuid:pk>/<slug:purpose>/give/",
        my_consent.my_consent_give,
        name="my-consent-give",
    ),
    path(
        "my-consent/<uuid:pk>/<slug:purpose>/end/", my_consent.my_consent_end, name="my-consent-end"
    ),
    # a personal link; its token comes last, so that it is never one of the other words
    path("consent/", sign.sign, name="sign"),
    path("consent/end/", sign.sign_end, name="sign-end"),
    path("consent/receipt/<uuid:pk>/", receipt.receipt, name="receipt"),
    path("consent/receipt/<uuid:pk>/pdf/", receipt.receipt_pdf, name="receipt-pdf"),
    path("consent/receipt/<uuid:pk>/json/", receipt.receipt_json, name="receipt-json"),
    path("consent/<slug:token>/", sign.sign_link, name="sign-link"),
    # a club's texts
    path("clubs/<slug:slug>/consent-texts/", consent_texts.consent_texts, name="consent-texts"),
    path(
        "clubs/<slug:slug>/consent-texts/begin/",
        consent_texts.consent_texts_begin,
        name="consent-texts-begin",
    ),
    path(
        "clubs/<slug:slug>/consent-texts/ask/",
        consent_texts.consent_ask_again,
        name="consent-ask-again",
    ),
    path(
        "clubs/<slug:slug>/consent-texts/<slug:purpose>/",
        consent_texts.consent_text,
        name="consent-text",
    ),
    # a clinic's board: asking, paper, the pool
    path("clinics/<uuid:pk>/consent/csv/", consent.consent_csv, name="consent-csv"),
    path("clinics/<uuid:pk>/consent/ask/", consent.consent_ask, name="consent-ask"),
    path("clinics/<uuid:pk>/consent/blank/", consent_paper.consent_blank, name="consent-blank"),
    path("clinics/<uuid:pk>/consent/pool/", consent_pool.consent_pool, name="consent-pool"),
    path("clinics/<uuid:pk>/consent/<uuid:entry>/link/", consent.consent_link, name="consent-link"),
    path(
        "clinics/<uuid:pk>/consent/<uuid:entry>/paper/",
        consent_paper.consent_paper,
        name="consent-paper",
    ),
    path("consent-sheets/<uuid:pk>/", consent_paper.consent_sheet, name="consent-sheet"),
]
