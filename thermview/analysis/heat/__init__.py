"""Which part dissipates, how much, how sure."""
