"""The files of the project, as they are kept."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
APPS = ("consult", "surveys", "mitigation")


def kept_files() -> list[Path]:
    """Every file under version control, and new ones that are not ignored."""
    listed = subprocess.run(
        [
            "git",
            "-c",
            "safe.directory=*",
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    paths = [ROOT / name for name in listed.stdout.split("\0") if name]
    return [path for path in paths if path.is_file()]
