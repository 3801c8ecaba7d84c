from django.apps import AppConfig


class PortalConfig(AppConfig):
    name = "portal"

    def ready(self) -> None:
        from portal import registrations

        registrations.register_all()
