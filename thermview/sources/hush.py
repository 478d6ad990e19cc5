"""Keeps OpenCV's own warnings from standing among the program's lines."""


def hush_opencv() -> None:
    """Let OpenCV print nothing; what goes wrong shows in what it returns."""
    import cv2

    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
