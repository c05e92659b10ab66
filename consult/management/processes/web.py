"""The web server of one machine."""

import socket
import sys
from collections.abc import Mapping

from consult.management.processes.children import Service, ServiceError, start_child, wait_until


def start_web(*, port: int, threads: int, environment: Mapping[str, str] | None = None) -> Service:
    """The web server, on the loopback address only."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise ServiceError(f"Port {port} is taken; give another with --port.") from error
    command = [sys.executable, "manage.py", "web"]
    command += ["--port", str(port), "--threads", str(threads)]
    service = start_child("The web server", command, environment=environment)
    try:
        wait_until(lambda: _listens(port), service=service)
    except BaseException:
        service.stop()
        raise
    return service


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0
