from importlib import import_module

from django.apps import AppConfig


class MitigationConfig(AppConfig):
    name = "mitigation"

    def ready(self) -> None:
        """Connect the signals of the search index and register what is guarded."""
        import_module("mitigation.services.search")
        import_module("mitigation.services.guards")
