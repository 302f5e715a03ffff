"""Rule bases: what is refused in which words, how layers lie over one another, identity, cache."""
