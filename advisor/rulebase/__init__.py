"""Rule bases: reading them from YAML, laying one over another, and telling one from the next."""
