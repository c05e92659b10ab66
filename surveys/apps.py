from importlib import import_module

from django.apps import AppConfig


class SurveysConfig(AppConfig):
    name = "surveys"

    def ready(self) -> None:
        """Register what is guarded before the first `migrate`."""
        import_module("surveys.services.guards")
