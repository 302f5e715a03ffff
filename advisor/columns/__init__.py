"""Many setups at once, a column for each fact, with numpy: the engine's own meaning, in bulk."""
