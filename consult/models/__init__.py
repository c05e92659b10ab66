"""The practice and its people, clients and properties, letters, jobs."""

from consult.models.access_log import AccessEvent
from consult.models.clients import Assignment, Client, Property
from consult.models.contacts import Contact
from consult.models.entry_keys import EntryKey
from consult.models.files import StoredFile
from consult.models.jobs import Heartbeat, Job, OutboundMail
from consult.models.letters import Letter
from consult.models.medical_devices import MedicalDevice
from consult.models.people import Firm, Practice, User, current_practice
from consult.models.privacy.erasures import Erasure
from consult.models.privacy.packages import DataPackage, DataRequest
from consult.models.privacy.retention import Retention
from consult.models.privacy.windows import ErasureWindow

__all__ = [
    "AccessEvent",
    "Assignment",
    "Client",
    "Contact",
    "DataPackage",
    "DataRequest",
    "EntryKey",
    "Erasure",
    "ErasureWindow",
    "Firm",
    "Heartbeat",
    "Job",
    "Letter",
    "MedicalDevice",
    "OutboundMail",
    "Practice",
    "Property",
    "Retention",
    "StoredFile",
    "User",
    "current_practice",
]
