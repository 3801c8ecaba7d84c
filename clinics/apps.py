from django.apps import AppConfig


class ClinicsConfig(AppConfig):
    name = "clinics"

    def ready(self) -> None:
        from clinics import registrations

        registrations.register_all()
