"""A private Redis on a socket of its own."""

import shutil
import socket
from pathlib import Path

from consult.management.processes.children import Service, ServiceError, start_child, wait_until


def redis_socket(folder: Path) -> Path:
    return folder / "redis.sock"


def start_redis(folder: Path) -> Service:
    """A Redis without a port and without a memory of its own: the jobs are rows."""
    program = shutil.which("redis-server")
    if program is None:
        raise ServiceError(
            "redis-server is missing. Install it (on Debian: apt-get install redis-server) "
            "or set REDIS_URL to a running one."
        )
    path = redis_socket(folder)
    path.unlink(missing_ok=True)
    command = [program, "--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700",
               "--save", "", "--appendonly", "no", "--loglevel", "warning", "--logfile", "",
               "--dir", str(folder)]  # fmt: skip
    service = start_child("Redis", command, folder=folder, quiet=True)
    wait_until(lambda: _answers(path), service=service)
    return service


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as connection_:
        connection_.settimeout(1)
        try:
            connection_.connect(str(path))
            connection_.sendall(b"PING\r\n")
            return connection_.recv(16).startswith(b"+PONG")
        except OSError:
            return False
