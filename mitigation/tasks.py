"""The doors through which Celery comes into cases."""

from consult.services import jobs
from mitigation.services.uploads import DROP_UPLOADS, drop_uploads

jobs.register(DROP_UPLOADS, drop_uploads)

__all__ = ["DROP_UPLOADS"]
