"""The step "compare": this board against a known-good one, and one half against the other."""
