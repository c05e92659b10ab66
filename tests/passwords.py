"""Hashing is slow on purpose; tests count fewer rounds, which every other process reads as well."""

from django.contrib.auth.hashers import PBKDF2PasswordHasher


class FewRounds(PBKDF2PasswordHasher):
    """The hasher of the site under its own name, with a thousandth of its rounds."""

    iterations = 1_000
