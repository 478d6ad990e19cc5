"""The board on the picture: its parts, its matching points, a photo of it."""
