from feedback.models.comments import Comment, CommentVersion, LastLooked, Phrase
from feedback.models.drawings import Drawing
from feedback.models.given import Feedback, FeedbackSent, TakenSwim
from feedback.models.marks import LengthStrokes, Mark
from feedback.models.measured import BodyPoints, MeasuringChoice, PicturePlane
from feedback.models.phases import Phase
from feedback.models.rate_read import RateReading
from feedback.models.take_along import TakeAlong
from feedback.models.take_home import TakeHome

__all__ = [
    "BodyPoints",
    "Comment",
    "CommentVersion",
    "Drawing",
    "Feedback",
    "FeedbackSent",
    "LastLooked",
    "LengthStrokes",
    "Mark",
    "MeasuringChoice",
    "Phase",
    "Phrase",
    "PicturePlane",
    "RateReading",
    "TakeAlong",
    "TakeHome",
    "TakenSwim",
]
