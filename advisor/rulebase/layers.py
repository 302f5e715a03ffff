"""The layers of a rule base: which extends which, found by name, in a version that fits."""

from __future__ import annotations

import os
import re
from typing import Any

from advisor.rulebase.files import Desk, LayerFiles, SourceFile, SourceFiles, open_files
from advisor.rulebase.locate import find


class Stack:
    """Opens a rule base and all that it extends."""

    def __init__(self, desk: Desk, *, cache: bool) -> None:
        self.desk = desk
        self.cache = cache
        self.used_cache = False

    def open(self, folder: str) -> list[LayerFiles]:
        """Return the layers, lowest first."""
        chain: list[tuple[SourceFiles, dict[str, Any]]] = []
        seen: set[str] = set()
        here: str | None = folder
        above: SourceFile | None = None  # the manifest that extends this one
        while here is not None:
            seen.add(os.path.realpath(here))
            files = open_files(here, self.desk.collector, cache=self.cache)
            self.used_cache = self.used_cache or files.cached
            self.desk.lose(files)
            manifest = files.named("manifest.yaml")
            data = manifest.data if manifest is not None else {}
            if above is not None and manifest is not None:
                self._check_version(above, data["version"])
                self._check_names(chain, data["name"])
            chain.append((files, data))
            here = self._under(files, manifest, seen)
            above = manifest
        return [
            LayerFiles(
                files,
                manifest,
                self._section(files, "vocabulary.yaml", "facts"),
                self._section(files, "sources.yaml", "sources"),
                number,
            )
            for number, (files, manifest) in enumerate(reversed(chain))
        ]

    def _section(self, files: SourceFiles, name: str, key: str) -> dict[str, Any]:
        file = files.named(name)
        section: dict[str, Any] = file.data[key] if file is not None else {}
        return section

    def _under(self, files: SourceFiles, manifest: SourceFile | None, seen: set[str]) -> str | None:
        """Return the folder of the rule base that this one extends."""
        extends = manifest.data.get("extends") if manifest is not None else None
        if manifest is None or extends is None:
            if manifest is not None and not _declares(files):
                # Every fact its rules name would be at fault, and none of that the cause.
                self.desk.fault(
                    manifest,
                    (),
                    "this rule base has no facts: it extends none, and has no vocabulary.yaml",
                    "lay it over the base: extends: {name: base, version: ...}",
                )
                self.desk.sound = False
            return None
        name = extends["name"]
        is_path = os.sep in name or name.startswith(".")
        found = None if is_path else find(name, files.folder)
        if found is None:
            self.desk.fault(
                manifest,
                ("extends", "name"),
                f"there is no rule base `{name}` to extend",
                "put its folder beside this one, or extend `base`",
            )
            self.desk.sound = self.desk.complete = self.desk.cited = False
            return None
        if os.path.realpath(found) in seen:
            self.desk.fault(
                manifest,
                ("extends", "name"),
                f"`{name}` extends itself in the end",
                "a rule base can only extend those under it",
            )
            return None
        return found

    def _check_names(self, above: list[tuple[SourceFiles, dict[str, Any]]], name: str) -> None:
        """Refuse a rule base that is named as one under it: everything is told by layer."""
        for files, data in above:
            manifest = files.named("manifest.yaml")
            if manifest is not None and data["name"] == name:
                self.desk.fault(
                    manifest,
                    ("name",),
                    f"`{name}` is the name of a rule base under this one",
                    "give this one a name of its own",
                )

    def _check_version(self, manifest: SourceFile, version: str) -> None:
        """Hold the version of what a rule base extends to the range it asks for."""
        extends = manifest.data["extends"]
        if "version" not in extends:
            return
        try:
            fits = satisfies(version, extends["version"])
        except ValueError as error:
            self.desk.fault(manifest, ("extends", "version"), str(error), 'write ">=1.2,<2"')
            return
        if not fits:
            self.desk.fault(
                manifest,
                ("extends", "version"),
                f"`{extends['name']}` is at version {version}, not `{extends['version']}`",
                "read what changed in its changelog, then widen the range",
            )


_BOUND = re.compile(r"(>=|<=|==|!=|>|<)\s*(\d+(?:\.\d+){0,2})$")


def satisfies(version: str, wanted: str) -> bool:
    """Tell whether a version lies in a range such as ">=1.2,<2".

    Raises:
        ValueError: if the range cannot be read.
    """
    have = _numbers(version)
    for part in wanted.split(","):
        found = _BOUND.match(part.strip())
        if found is None:
            raise ValueError(f"`{part.strip()}` is no version bound")
        op, bound = found.group(1), _numbers(found.group(2))
        fits = {
            ">=": have >= bound,
            "<=": have <= bound,
            "==": have == bound,
            "!=": have != bound,
            ">": have > bound,
            "<": have < bound,
        }[op]
        if not fits:
            return False
    return True


def _numbers(version: str) -> tuple[int, int, int]:
    release = re.split("[-+]", version, maxsplit=1)[0]
    parts = [int(n) for n in re.findall(r"\d+", release)[:3]]
    parts += [0] * (3 - len(parts))
    return parts[0], parts[1], parts[2]


def _declares(files: SourceFiles) -> bool:
    return files.named("vocabulary.yaml") is not None or "vocabulary.yaml" in files.unread
