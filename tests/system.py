"""Install what some tests use that pip cannot bring: ``python -m tests.system``.

A browser and a sound server are programs of the system. On Debian and its descendants they are
installed here, where that is allowed without asking (as root, or by ``sudo`` that asks nothing);
elsewhere the command says which tests will skip, and ends well: a test that misses its program says so.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NEEDS = {
    "chromium": ("chromium", "the pages in a real browser"),
    "pg_ctlcluster": ("postgresql", "the record on a PostgreSQL server"),
    "pulseaudio": ("pulseaudio", "a microphone behind a real sound server"),
}
"""Program: the Debian package that brings it, and what is tested with it."""

ALONGSIDE = {"pulseaudio": ("pulseaudio-utils", "libasound2-plugins", "libportaudio2")}
"""Packages that a package is of no use without here."""


def missing() -> dict[str, tuple[str, str]]:
    """The programs of ``NEEDS`` that this machine lacks."""
    return {program: need for program, need in NEEDS.items() if shutil.which(program) is None}


def packages(programs: dict[str, tuple[str, str]]) -> list[str]:
    """The Debian packages for these programs, each with what belongs to it."""
    wanted = [package for package, _ in programs.values()]
    return [*wanted, *(extra for package in wanted for extra in ALONGSIDE.get(package, ()))]


def as_root() -> list[str] | None:
    """What goes before a command that needs root: nothing, ``sudo``, or None where neither will do."""
    if os.geteuid() == 0:
        return []
    quiet = ["sudo", "-n"]
    if (
        shutil.which("sudo")
        and subprocess.run([*quiet, "true"], capture_output=True).returncode == 0
    ):
        return quiet
    return None


def main() -> int:
    """Install what is missing, or say what will skip; never a reason to stop."""
    absent = missing()
    if not absent:
        return 0
    before = as_root() if hasattr(os, "geteuid") and shutil.which("apt-get") else None
    if before is not None:
        wanted = packages(absent)
        print(f"== installing {', '.join(wanted)}", flush=True)
        for step in (["update", "-q"], ["install", "-qy", "--no-install-recommends", *wanted]):
            quiet = [*before, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", *step]
            done = subprocess.run(
                quiet, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
            )
            if done.returncode:
                print(f"== apt-get {step[0]} failed:\n{done.stdout[-1000:]}", flush=True)
    for program, (package, tested) in missing().items():
        print(
            f"== {program} is missing (Debian: {package}): {tested} will not be tested", flush=True
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
