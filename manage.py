#!/usr/bin/env python
"""The command line of Ebbmark."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "consult.settings")
    execute_from_command_line(sys.argv)
