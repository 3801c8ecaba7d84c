from feedback.models.comments import Comment, CommentVersion, LastLooked, Phrase
from feedback.models.drawings import Drawing
from feedback.models.given import Feedback, FeedbackSent, TakenSwim
from feedback.models.marks import Mark
from feedback.models.phases import Phase
from feedback.models.take_along import TakeAlong

__all__ = [
    "Comment",
    "CommentVersion",
    "Drawing",
    "Feedback",
    "FeedbackSent",
    "LastLooked",
    "Mark",
    "Phase",
    "Phrase",
    "TakeAlong",
    "TakenSwim",
]
