from django.apps import AppConfig


class FeedbackConfig(AppConfig):
    name = "feedback"

    def ready(self) -> None:
        from feedback import registrations

        registrations.register_all()
