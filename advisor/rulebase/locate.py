"""Finding rule bases and schemas, in a checkout and in an installed wheel alike."""

from __future__ import annotations

import os

from advisor.errors import Collector

_PACKAGE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def shipped() -> str:
    """Return the folder of the rules that come with the program.

    A wheel carries them inside the package; a checkout (and an editable install of it) has them
    beside the package.
    """
    inside = os.path.join(_PACKAGE, "_rules")
    if os.path.isdir(inside):
        return inside
    return os.path.join(os.path.dirname(_PACKAGE), "rules")


def schema_folder() -> str:
    """Return the folder of the JSON Schemas."""
    return os.path.join(shipped(), "schemas")


def find(name: str, beside: str) -> str | None:
    """Find the folder of the rule base that another extends: beside it, else among the shipped."""
    # A path stays as the user wrote it, relative or not, because faults name it.
    for parent in (os.path.join(beside, os.pardir), shipped()):
        folder = os.path.normpath(os.path.join(parent, name))
        if os.path.isfile(os.path.join(folder, "manifest.yaml")):
            return folder
    return None


def base_folder() -> str:
    """Return the folder of the base rules."""
    return os.path.join(shipped(), "base")


CASES = "cases"
"""The folder of a rule base that holds its cases."""

SPECIAL = ("manifest.yaml", "vocabulary.yaml", "sources.yaml", "ladder.yaml")


def path_of(folder: str, name: str) -> str:
    """Return the path of a file in a folder, as a user would write it."""
    return name if folder == os.curdir else os.path.join(folder, name)


def is_yaml(name: str) -> bool:
    """Tell whether a file is one that is read, by its name."""
    return name.endswith((".yaml", ".yml")) and not name.startswith(".")


def rule_files(folder: str, collector: Collector) -> tuple[list[str], list[str]]:
    """Return the names of a rule base's files, cases apart, and of those that are refused unread.

    What an editor or a system hides behind a leading dot is no file of it.

    Symbolic links that lead out of the folder are refused: a rule base is one folder.
    """
    try:
        names = sorted(os.listdir(folder))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        collector.add(
            folder, None, None, f"the rule base cannot be read: {reason}", "name a folder"
        )
        return [], []
    found = [name for name in names if is_yaml(name)]
    root = os.path.realpath(folder)
    kept, refused = [], []
    for name in found:
        if os.path.dirname(os.path.realpath(os.path.join(folder, name))) != root:
            collector.add(
                path_of(folder, name),
                None,
                None,
                "this file is a link that leads out of the rule base",
                "copy the file into the folder",
            )
            refused.append(name)
        else:
            kept.append(name)
    for name in names:
        inside = os.path.join(folder, name)
        if name == CASES or name.startswith(".") or not os.path.isdir(inside):
            continue
        if any(map(is_yaml, os.listdir(inside))):
            # A house that believes its rules are in force, and they are not, is worse off.
            collector.add(
                path_of(folder, name),
                None,
                None,
                "rules in a folder of their own are not read",
                f"move the files up beside manifest.yaml, cases into {CASES}",
            )
    if "manifest.yaml" not in found:
        collector.add(
            folder,
            None,
            None,
            "there is no manifest.yaml, so this is no rule base",
            "name the folder that holds manifest.yaml",
        )
    return kept, refused
