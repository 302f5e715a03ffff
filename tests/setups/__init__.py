"""Setups, stock and options: what is read, what is refused in which words."""
