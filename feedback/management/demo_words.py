"""What is said in the demo: a coach's words, a note among coaches, a question, and a draft."""

from __future__ import annotations

from clinics.models import Clinic, Swim
from feedback.actions.feedback import keep_words, send_feedback
from feedback.actions.say import reply, say
from feedback.actions.take_home import swim_before
from feedback.management.demo_drawings import draw_elbow
from feedback.models import Comment
from portal.models import User

# station, from where to where in its clip, phase, words
SAID = (
    ("start-side", (0.45, None), "start", "Hands and feet leave together. Legs first."),
    ("start-side", (0.55, 0.7), "flight", "Chin stays up here: look where you go in."),
    ("underwater", (0.5, None), "swimming", "Left hand crosses. Reach to your own side."),
)
DRAFT = ("underwater", (0.7, None), "swimming", "Elbow drops before the pull.")
NOTE = "Same cross as last month: film the next go from the other side?"
ONE_THING = "Reach to your own side of the lane: the hand goes in before your shoulder."
POINTS = ("Push from the legs before the arms leave.", "Look where you go in.")
TO_LAST_TIMES = (
    "Hold the line off the wall until you feel slower than you swim.",
    ("The push-off was straight.", "Keep the count of your strokes in the second length."),
)
ASKED = "Does the right hand do it, too?"
Shares = tuple[float, float | None]  # of a clip's length


def talk_about(*, swim: Swim, coach: User, short: bool) -> None:
    """What a coach said and sent, a note among coaches, a question, and a draft."""
    if Comment.objects.filter(swim=swim).exists():
        return
    said = [_say_at(swim, coach, *told) for told in SAID]
    draw_elbow(swim=swim, by=coach, comment=said[-1], short=short)
    say(swim=swim, by=coach, text=NOTE, for_coaches=True)
    keep_words(swim=swim, by=coach, one_thing=ONE_THING, points=POINTS, stamp="")
    send_feedback(swim=swim, by=coach)
    swimmer, about = swim.entry.swimmer.user, said[-1]
    if swimmer is not None and about is not None:
        swim.refresh_from_db()
        reply(to=Comment.objects.get(pk=about.pk), by=swimmer, text=ASKED)
    _say_at(swim, coach, *DRAFT)


def write_to_who_swam_before(*, clinic: Clinic, coach: User) -> None:
    """Words to the first swimmer who swam alike at an earlier clinic: their page compares both."""
    for swim in Swim.objects.coached_by(coach).filter(entry__clinic=clinic, feedback_sent=None):
        if swim_before(swim, coach) is not None:
            one_thing, points = TO_LAST_TIMES
            keep_words(swim=swim, by=coach, one_thing=one_thing, points=points, stamp="")
            send_feedback(swim=swim, by=coach)
            return


def _say_at(
    swim: Swim, by: User, station: str, shares: Shares, phase: str, text: str
) -> Comment | None:
    clip = swim.clips.filter(station__slug=station, state="ready").first()
    if clip is None:
        return None
    frame, until = (None if share is None else int(clip.frame_count * share) for share in shares)
    return say(swim=swim, by=by, text=text, phase=phase, clip=clip, frame=frame, until_frame=until)
