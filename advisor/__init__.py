"""A rule-based advisor on fletching and broadhead pairing for people who build arrows."""
