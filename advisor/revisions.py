"""A rule base as it stood in a git revision: `FOLDER@REVISION`, beside plain folders.

The folder is taken out of the repository into a temporary one, and with it what it extends, as that
stood in the same revision; what is not in it comes from the shipped rules, and a hint says so.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import tarfile
from collections.abc import Mapping
from tempfile import TemporaryDirectory

from advisor.errors import Fault, Faults, quoted
from advisor.rulebase.model import RuleBase
from advisor.rulebase.read import read_rule_base

_PATIENCE = 60
"""Seconds that git gets for one answer."""

_DEEPEST = 20
"""Rule bases over one another that are looked for in a revision."""


def read_version(name: str, hints: list[str] | None = None) -> RuleBase:
    """Read a rule base from a folder, or as it stood in a revision.

    Args:
        name: a folder, or `FOLDER@REVISION`; a folder that really has that name comes first.
        hints: added to where what a house lies over was not in the revision.

    Raises:
        Faults: about the usage if there is no such revision, or no such folder in it; else about
            the rules.
    """
    if os.path.isdir(name) or "@" not in name:
        return read_rule_base(name)
    folder, _, revision = name.rpartition("@")
    if not folder or not revision:
        raise _misuse(name, f"{quoted(name)} is no folder and no FOLDER@REVISION")
    repository = _Repository(name, folder, revision)
    with TemporaryDirectory(prefix="arrow-advisor-") as root:
        inside = repository.take_out(root)
        if hints is not None:
            hints += [
                f"the rules that {name} extends, `{under}`, are not in {revision}: those that ship "
                "with the program were taken"
                for under in repository.missing
            ]
        try:
            return read_rule_base(inside)
        except Faults as refused:
            raise _renamed(refused, root, f"{revision}:", repository.moved) from None


def _misuse(name: str, what: str, remedy: str = "") -> Faults:
    remedy = remedy or "name a folder, or for example rules/base@v1.0"
    return Faults([Fault(name, None, None, what, remedy)], "usage")


def _renamed(faults: Faults, root: str, prefix: str, moved: Mapping[str, str]) -> Faults:
    """Return faults that name files of the revision, not of the temporary folder."""

    def told(text: str) -> str:
        for to, came_from in moved.items():
            here, there = (os.path.join(root, folder, "") for folder in (to, came_from))
            text = text.replace(here, there)
        for start in (root + os.sep, os.path.realpath(root) + os.sep):
            text = text.replace(start, prefix)
        return text

    return Faults(
        [Fault(told(f.file), f.line, f.column, told(f.what), told(f.help)) for f in faults.faults],
        faults.about,
    )


class _Repository:
    """The git repository that a folder belongs to, at one revision."""

    def __init__(self, name: str, folder: str, revision: str) -> None:
        self._name = name
        self._revision = revision
        self.missing: list[str] = []
        """Names of rule bases that are extended and are not in the revision."""
        self.moved: dict[str, str] = {}
        """Where rule bases stood that were put beside what extends them."""
        here = os.path.abspath(folder)
        while not os.path.isdir(here):
            # The folder may be gone since.
            here = os.path.dirname(here)
        self._here = here
        top = self._git("rev-parse", "--show-toplevel")
        if top is None:
            raise _misuse(name, f"{quoted(folder)} lies in no git repository")
        self._top = self._here = os.path.realpath(os.fsdecode(top).rstrip("\n"))
        self._folder = os.path.relpath(os.path.realpath(folder), self._top)
        found = self._git(
            "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}"
        )
        if found is None:
            raise _misuse(
                name,
                f"the repository has no revision {quoted(revision)}",
                "name a commit, a branch or a tag; `git log --oneline` lists commits",
            )
        self._commit = found.decode().strip().splitlines()[-1]
        if not self._has(self._folder):
            raise _misuse(
                name,
                f"there is no rule base in {quoted(folder)} at {quoted(revision)}",
                "name a folder that held manifest.yaml then",
            )

    def _git(self, *arguments: str) -> bytes | None:
        """Return what git says, or None if it fails."""
        try:
            done = subprocess.run(  # noqa: S603 - no shell, and the words are git's own
                ["git", "-C", self._here, *arguments],  # noqa: S607 - found on the path
                capture_output=True,
                check=False,
                timeout=_PATIENCE,
            )
        except FileNotFoundError:
            what = "git is not installed, so no revision can be read"
            raise _misuse(self._name, what, "install git, or name two folders") from None
        except subprocess.TimeoutExpired:
            raise _misuse(self._name, "git did not answer in time", "try again") from None
        return done.stdout if done.returncode == 0 else None

    def _path(self, *parts: str) -> str:
        return os.path.normpath(os.path.join(*parts)).replace(os.sep, "/")

    def _has(self, folder: str) -> bool:
        path = self._path(folder, "manifest.yaml")
        if path.startswith(".."):
            return False
        return self._git("cat-file", "-e", f"{self._commit}:{path}") is not None

    def take_out(self, root: str) -> str:
        """Write the folder, and those that it extends beside it, and return where it is."""
        folder = self._folder
        self._write(folder, root)
        for _ in range(_DEEPEST):
            under = _extended(os.path.join(root, folder))
            if not under:
                break
            beside = os.path.normpath(os.path.join(folder, os.pardir, under))
            found = beside if self._has(beside) else self._elsewhere(under)
            if found is None:
                self.missing.append(under)
                break
            if beside == folder or os.path.exists(os.path.join(root, beside)):
                break
            self._write(found, root)
            if found != beside:
                # A rule base is looked for beside the one that extends it.
                shutil.copytree(os.path.join(root, found), os.path.join(root, beside))
                self.moved[beside] = found
            folder = beside
        return os.path.normpath(os.path.join(root, self._folder))

    def _elsewhere(self, under: str) -> str | None:
        """Return where in the revision a rule base of that name is, that nearest to the top."""
        listed = self._git("ls-tree", "-r", "-z", "--name-only", "--full-tree", self._commit)
        ends = f"{under}/manifest.yaml"
        paths = [os.fsdecode(path) for path in (listed or b"").split(b"\0")]
        itself = f"{self._path(self._folder)}/manifest.yaml"
        found = [p for p in paths if p != itself and (p == ends or p.endswith(f"/{ends}"))]
        nearest = min(found, key=lambda path: (path.count("/"), path), default=None)
        return None if nearest is None else os.path.dirname(nearest)

    def _write(self, folder: str, root: str) -> None:
        path = self._path(folder)
        top = [] if path == "." else ["--", f":(top,literal){path}"]
        packed = self._git("archive", "--format=tar", self._commit, *top)
        if packed is None:
            raise _misuse(self._name, f"git cannot give out {quoted(path)}")
        with tarfile.open(fileobj=io.BytesIO(packed)) as files:
            files.extractall(root, filter="data")


def _extended(folder: str) -> str:
    """Return the name of the rule base that one extends; whoever reads it tells its faults."""
    from advisor.documents import read_document

    try:
        data = read_document(os.path.join(folder, "manifest.yaml"), about="rules").data
    except Faults:
        return ""
    extends = data.get("extends") if isinstance(data, dict) else None
    name = extends.get("name") if isinstance(extends, dict) else None
    return name if isinstance(name, str) else ""
