"""Writing rules: beginning one (`begin`), and one order and shape for all (`formatting`).

`annotated` reads YAML with its comments; `drafts` writes several files, all of them or none.
"""
