"""The wheel, installed alone in a fresh environment, does the main job."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def test_the_wheel_installed_alone_advises(tmp_path: Path) -> None:
    source = tmp_path / "source"
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\0")
    if not any(listed):  # an archive without its history
        listed = [
            str(path.relative_to(ROOT))
            for folder in ("advisor", "rules")
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        ] + ["pyproject.toml", "README.md"]
    for name in filter(None, listed):
        if (ROOT / name).is_file():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, source / name)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    built = subprocess.run(
        [*pip, "wheel", "--no-deps", "-w", str(tmp_path), str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    if built.returncode and not os.environ.get("CI"):
        pytest.skip("the wheel cannot be built here: no way to a package index")
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    venv.create(tmp_path / "venv", with_pip=True)
    python = tmp_path / "venv" / "bin" / "python"
    installed = subprocess.run(
        [str(python), "-m", "pip", "-q", "install", str(wheel)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert installed.returncode == 0, installed.stderr
    example = tmp_path / "setup.yaml"
    shutil.copy(ROOT / "examples" / "fixed-blade-hunting.yaml", example)
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    for words, expected in (
        (["advise", str(example)], "4 vanes, 2.6 in long"),
        (["rules", "show", "match-a-left-bevel"], "Cases"),
    ):
        done = subprocess.run(
            [str(tmp_path / "venv" / "bin" / "advisor"), *words],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            env=environment,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert expected in done.stdout
