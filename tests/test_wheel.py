"""What stands in resources/ and sample_recordings/ is found from an installed wheel too."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CODE = (
    "import thermview.paths as p; print(p.__file__); print(p.resource('profiles')); "
    "print(p.sample_recordings() / 'short.h5')"
)


def run_pip(*arguments: str) -> None:
    command = [sys.executable, "-m", "pip", *arguments, "-q", "--disable-pip-version-check"]
    subprocess.run(command, check=True, cwd=ROOT, capture_output=True)


@pytest.mark.slow
def test_the_wheel_carries_what_the_program_needs(tmp_path: Path) -> None:
    run_pip("wheel", "--no-deps", "--no-build-isolation", "--no-index", "-w", str(tmp_path), ".")
    (wheel,) = tmp_path.glob("thermview-*.whl")
    place = tmp_path / "place"
    run_pip("install", "--no-deps", "--no-index", "--target", str(place), str(wheel))
    done = subprocess.run(
        [sys.executable, "-c", CODE],
        env={**os.environ, "PYTHONPATH": str(place)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    module, *found = map(Path, done.stdout.splitlines())
    assert module.is_relative_to(place)
    for path in found:
        assert path.exists()
        assert path.is_relative_to(place)
