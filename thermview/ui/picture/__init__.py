"""The picture: frames in colour, regions on them, stills."""
