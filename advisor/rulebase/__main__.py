"""Write the JSON Schemas anew: `python -m advisor.rulebase`."""

from __future__ import annotations

import json
import os

from advisor.rulebase.locate import schema_folder
from advisor.rulebase.read import read_rule_base
from advisor.rulebase.schemas import all_schemas


def schema_texts() -> dict[str, str]:
    """Return the text of every schema file of the base rules, by file name."""
    schemas = all_schemas(read_rule_base().vocabulary)
    return {
        f"{name}.schema.json": json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
        for name, schema in schemas.items()
    }


def main() -> None:
    """Write every schema file."""
    os.makedirs(schema_folder(), exist_ok=True)
    for name, text in schema_texts().items():
        with open(os.path.join(schema_folder(), name), "w", encoding="utf-8") as file:
            file.write(text)


if __name__ == "__main__":
    main()
