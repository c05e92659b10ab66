"""Passwords of tests: slow hashing is tried by nobody, so a log-in of a test does without it."""

from django.contrib.auth.hashers import PBKDF2PasswordHasher


class FastHasher(PBKDF2PasswordHasher):
    """The site's algorithm with one round, so that child processes check its hashes as well."""

    iterations = 1
