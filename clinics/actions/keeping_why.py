"""Why something goes when it goes, in a sentence."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.compute.keeping import Rules, Why


def why_in_words(why: Why, rules: Rules) -> str:
    """For admins and swimmers alike."""
    says = {
        Why.NEXT_CLINIC: _after_next,
        Why.AT_MOST: _at_most,
        Why.NOT_GIVEN: _not_given,
        Why.MEASURES: _measures,
        Why.CLOSED: _closed,
    }
    if why in says:
        return says[why](rules)
    return {
        Why.WITHDRAWN: _(
            "consent to be filmed was taken back; 30 days to take along what is theirs"
        ),
        Why.ASKED: _("the swimmer asked that it goes"),
        Why.KEPT_LONGER: _("the swimmer asked to keep it longer, and the club agreed"),
        Why.WITH_CLIPS: _("as long as its clips"),
        Why.NOT_CLOSED: _("the clinic is not closed; at the latest then"),
    }[why]


def _after_next(rules: Rules) -> str:
    days = rules.clips_after_next_days
    return ngettext(
        "%(days)d day after the swimmer's next clinic",
        "%(days)d days after the swimmer's next clinic",
        days,
    ) % {"days": days}


def _at_most(rules: Rules) -> str:
    months = rules.clips_at_most_months
    return ngettext(
        "%(months)d month at most; no next clinic is planned before",
        "%(months)d months at most; no next clinic is planned before",
        months,
    ) % {"months": months}


def _not_given(rules: Rules) -> str:
    days = rules.not_given_days
    return ngettext(
        "not given to its swimmer; %(days)d day",
        "not given to its swimmer; %(days)d days",
        days,
    ) % {"days": days}


def _measures(rules: Rules) -> str:
    months = rules.measures_months
    return ngettext(
        "%(months)d month after the clinic",
        "%(months)d months after the clinic",
        months,
    ) % {"months": months}


def _closed(rules: Rules) -> str:
    days = rules.originals_days
    return ngettext(
        "%(days)d day after the clinic was closed",
        "%(days)d days after the clinic was closed",
        days,
    ) % {"days": days}
