from importlib import import_module

from django.apps import AppConfig


class MitigationConfig(AppConfig):
    name = "mitigation"

    def ready(self) -> None:
        """Connect the signals of the search index; register guards, kinds of letters and jobs."""
        import_module("mitigation.services.search")
        import_module("mitigation.services.guards")
        import_module("mitigation.services.letter_kinds")
        import_module("mitigation.tasks")
