"""Guided measurements on the picture: a few clicks, a number, and what it is worth."""

from thermview.ui.guides.bar import GuideBar
from thermview.ui.guides.guide import Answer, Asked, Guide, Look

__all__ = ["Answer", "Asked", "Guide", "GuideBar", "Look"]
