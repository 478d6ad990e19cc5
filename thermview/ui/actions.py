"""The actions behind keys and menus: one QAction each, named, with its rebindable key."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget

from thermview.ui.keys import ACTIONS, Keys


class Actions:
    """All actions by name, attached to the window so that their keys work everywhere in it.

    Parameters
    ----------
    window : QWidget
        Where the keys work.
    keys : Keys
        Which key does what.
    handlers : mapping of str to callable
        What the window's own actions do.
    others : mapping of str to QAction
        Actions that a widget made itself; they only get their keys from here.
    """

    def __init__(
        self,
        window: QWidget,
        keys: Keys,
        handlers: Mapping[str, Callable[[], object]],
        others: Mapping[str, QAction],
    ) -> None:
        self._keys = keys
        self._by_name: dict[str, QAction] = {}
        for known in ACTIONS:
            if known.name in others:
                self._by_name[known.name] = others[known.name]
                continue
            action = QAction(known.words, window)
            action.setObjectName(f"action_{known.name}")
            action.setAutoRepeat(known.name in ("back", "forward"))
            handler = handlers[known.name]
            action.triggered.connect(lambda _=False, run=handler: run())
            window.addAction(action)
            self._by_name[known.name] = action
        self.rebind()

    def rebind(self) -> None:
        """Take the keys anew, after the user has changed them."""
        for name, action in self._by_name.items():
            key = self._keys.key(name)
            sequences = [QKeySequence(key)] if key else []
            if name == "help":
                sequences.append(QKeySequence("?"))
            action.setShortcuts(sequences)

    def __getitem__(self, name: str) -> QAction:
        return self._by_name[name]
