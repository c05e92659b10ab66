"""What the environment says, looked at before the settings stand on it."""

import os
import secrets
import stat
import tempfile
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured
from django.http.request import validate_host

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")


def require(*names: str) -> None:
    """Stop the start where a variable that mails and their links need is not set."""
    for name in names:
        if not os.environ.get(name):
            raise ImproperlyConfigured(f"{name} is missing: mails and their links need it.")


def site_url(value: str, *, allowed_hosts: Sequence[str]) -> str:
    """Where the site is reached: a scheme and a host of the site's own, without a path."""
    url = urlsplit(value.rstrip("/"))
    if not url.hostname or url.path or url.query or url.fragment or url.username:
        raise ImproperlyConfigured(f"SITE_URL={value!r}: expected a scheme and a host alone.")
    host = f"[{url.hostname}]" if ":" in url.hostname else url.hostname
    if not validate_host(host, allowed_hosts):
        raise ImproperlyConfigured(f"SITE_URL={value!r}: ALLOWED_HOSTS does not name its host.")
    return value.rstrip("/")


def check_redis(value: str) -> None:
    """Stop the start where jobs would travel to another host for everybody to read and write."""
    url = urlsplit(value)
    if url.scheme not in ("redis", "rediss") or url.hostname in LOOPBACK_NAMES:
        return
    if url.scheme != "rediss" or not url.password:
        raise ImproperlyConfigured(
            "REDIS_URL names another host: expected rediss://:password@host, with a password and "
            "with TLS."
        )


def keep_private(path: Path) -> None:
    """Take from others what an earlier start, or a copy, let them do with a folder or file."""
    try:
        mode = path.stat().st_mode
        if mode & stat.S_ISVTX:
            raise ImproperlyConfigured(f"{path} is a folder for everybody; name one for the site.")
        if mode & 0o077:
            path.chmod(stat.S_IMODE(mode) & 0o700)
    except FileNotFoundError:
        pass
    except OSError as error:
        raise ImproperlyConfigured(
            f"{path} is open to other users and could not be closed ({error.strerror}). "
            f"Let its owner run: chmod go= {path}"
        ) from error


def kept_secret_key(path: Path) -> str:
    """The key of a one-machine installation, made at the first start and readable by its owner."""
    if not path.exists():
        with tempfile.NamedTemporaryFile("w", dir=path.parent, delete=False) as file:
            file.write(secrets.token_urlsafe(50))
        os.chmod(file.name, 0o600)
        try:
            os.link(file.name, path)  # the first of two processes wins, the other reads its key
        except FileExistsError:
            pass
        os.unlink(file.name)
    return path.read_text()
