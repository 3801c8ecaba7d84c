from feedback.models.comments import Comment, LastLooked

__all__ = ["Comment", "LastLooked"]
