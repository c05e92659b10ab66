from importlib import import_module

from django.apps import AppConfig


class MitigationConfig(AppConfig):
    name = "mitigation"

    def ready(self) -> None:
        """The index of the search listens from the first row on."""
        import_module("mitigation.services.search")
