"""The line above all else that says what is wrong with the source, and what can be done."""

from __future__ import annotations

from PySide6.QtWidgets import QFrame, QHBoxLayout

from thermview.session.states import SessionState
from thermview.ui.desk import Desk
from thermview.ui.widgets import button, label, named

WORDS = {
    SessionState.STALLED: "No new frame is coming.",
    SessionState.RECONNECTING: "Trying to reach the source again …",
    SessionState.ENDED: "The source has ended.",
    SessionState.FAILED: "The source is gone.",
}


class Banner(QFrame):
    """Shown while a live source does not deliver; everything recorded is kept."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        named(self, "banner", "banner")
        self._desk = desk
        self.words = label("", "bannerWords", wrap=True)
        self.reconnect = button(
            "reconnect", "reconnectButton", desk.reconnect, symbol="refresh", role="primary"
        )
        layout = QHBoxLayout(self)
        layout.addWidget(self.words, 1)
        layout.addWidget(self.reconnect)
        desk.state_changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show or hide."""
        session = self._desk.session
        amiss = session is not None and session.is_live and session.state in WORDS
        self.setVisible(amiss)
        if session is None or not amiss:
            return
        kept = "What came so far is kept and can be looked at."
        if session.recording is not None:
            kept = f"Everything recorded so far is safe in {session.recording.path.name}."
        trouble = session.trouble[:1].upper() + session.trouble[1:]
        said = [WORDS[session.state], f"{trouble.rstrip('.')}." if trouble else "", kept]
        self.words.setText(" ".join(part for part in said if part))
        self.reconnect.setEnabled(session.state is not SessionState.RECONNECTING)
