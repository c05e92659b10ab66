"""Backups of the whole practice: making one, checking one, putting one back."""

from consult.services.backups.making import Made, make_backup
from consult.services.backups.restore import Restored, check_backup, restore_backup

__all__ = ["Made", "Restored", "check_backup", "make_backup", "restore_backup"]
