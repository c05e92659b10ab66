"""The doors through which Celery comes into cases."""

from consult.services import jobs
from mitigation.services import attachments, uploads, visits
from surveys.services.visits import VISIT_SEALED

jobs.register(uploads.CHECK_UPLOAD, uploads.check_upload, uploads.upload_failed)
jobs.register(uploads.IMPORT_UPLOAD, uploads.import_upload, uploads.upload_failed)
jobs.register(uploads.DROP_UPLOADS, uploads.drop_uploads)
jobs.register(VISIT_SEALED, visits.go_on_after_seal)
jobs.register(attachments.CLEAN_PICTURE, attachments.clean_picture, attachments.picture_given_up)

__all__ = ["VISIT_SEALED", "attachments", "uploads", "visits"]
