"""What a choice changes now, in a sentence for the swimmer."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

NOW: dict[tuple[str, bool], Any] = {
    ("film-and-review", True): _(
        "You are filmed at clinics. The checker and the club's coaches see your clips, and you."
    ),
    ("film-and-review", False): _(
        "You are not filmed. Clips that are still here nobody but you can see, until they go."
    ),
    ("show-to-group", True): _("The other swimmers of the same clinic see clips you were given."),
    ("show-to-group", False): _("No other swimmer sees your clips."),
    ("count-among-group", True): _(
        "Beside the swims of others who swam alike your measures count, without your name."
    ),
    ("count-among-group", False): _("Your measures count beside nobody else's swim."),
    ("coach-education", True): _(
        "A coach may put single clips on the shelf for coaches of other clubs. You see which."
    ),
    ("coach-education", False): _("No coach of another club sees your clips."),
    ("publish", True): _("You may be asked about single clips. Nothing goes out by this alone."),
    ("publish", False): _("Nothing of yours is published."),
}


def what_now(purpose: str, agrees: bool) -> Any:
    return NOW[purpose, agrees]
