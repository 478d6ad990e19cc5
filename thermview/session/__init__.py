"""Running the frames: live, replayed or for a command, through one pipeline. No Qt."""
