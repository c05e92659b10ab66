"""The processes of one machine: a private Redis, a Celery worker, a web server.

To stop, web first, then worker, then Redis.
"""

from consult.management.processes.children import (
    Service,
    ServiceError,
    private_folder,
    wait_until,
)
from consult.management.processes.private import (
    PrivateServices,
    finish_letter,
    private_services,
)
from consult.management.processes.redis import redis_socket, start_redis
from consult.management.processes.web import start_web
from consult.management.processes.worker import start_worker

__all__ = [
    "PrivateServices",
    "Service",
    "ServiceError",
    "finish_letter",
    "private_folder",
    "private_services",
    "redis_socket",
    "start_redis",
    "start_web",
    "start_worker",
    "wait_until",
]
