"""Setups and stock: what a builder states and what the bench has, read at the border."""
