"""A board against one that is known to be good."""
