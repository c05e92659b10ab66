"""The people of the permission tests: each is somebody, in a relation to one case."""

from dataclasses import dataclass

from django.test import Client as Browser

from consult.models import Client, User
from mitigation.models import Case
from tests.factories import (
    ClientFactory,
    FirmFactory,
    UserFactory,
    assign,
    compared_case,
)

ASKERS = (
    "manager",
    "office",
    "its assessor",
    "another assessor",
    "its client",
    "another client",
    "its electrician",
    "nobody",
)


@dataclass(frozen=True)
class Cast:
    """One case and everybody around it."""

    case: Case
    people: dict[str, User]

    def log_in(self, browser: Browser, asker: str) -> None:
        if asker != "nobody":
            browser.force_login(self.people[asker])


def make_cast() -> Cast:
    people = {
        "manager": UserFactory(role=User.Role.OFFICE, is_manager=True),
        "office": UserFactory(role=User.Role.OFFICE),
        "its assessor": UserFactory(role=User.Role.ASSESSOR),
        "another assessor": UserFactory(role=User.Role.ASSESSOR),
        "its client": UserFactory(role=User.Role.CLIENT),
        "another client": UserFactory(role=User.Role.CLIENT),
        "its electrician": UserFactory(role=User.Role.ELECTRICIAN, firm=FirmFactory()),
    }
    case = compared_case()
    home = case.property
    Client.objects.filter(pk=home.client_id).update(user=people["its client"])
    ClientFactory(user=people["another client"])
    assign(people["its assessor"], home)
    return Cast(case, people)
