from importlib import import_module

from django.apps import AppConfig


class MitigationConfig(AppConfig):
    name = "mitigation"

    def ready(self) -> None:
        """The index of the search listens, and what is guarded is known, from the start."""
        import_module("mitigation.services.search")
        import_module("mitigation.services.guards")
