from django.urls import URLPattern, path

from clinics.views import check_card, check_clip, check_whose

urlpatterns: list[URLPattern] = [
    path("swims/<uuid:pk>/check/whose/", check_whose.whose, name="check-whose"),
    path("swims/<uuid:pk>/check/card.jpg", check_card.check_card, name="check-card"),
    path("swims/<uuid:pk>/check/cut/", check_clip.cut, name="check-cut"),
    path("clips/<uuid:pk>/ends/", check_clip.clip_ends, name="check-clip-ends"),
    path("clips/<uuid:pk>/nudge/", check_clip.clip_nudge, name="check-clip-nudge"),
    path("clinics/<uuid:pk>/check/add/", check_whose.add_swim, name="check-add-swim"),
]
