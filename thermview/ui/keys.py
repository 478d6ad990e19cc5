"""What the keys do: one key for each action of the bench, all of them rebindable.

No bench action needs two keys at once: a foot switch is a keyboard with one key.
"""

from __future__ import annotations

from dataclasses import dataclass

from thermview.errors import UsageError
from thermview.ui.settings import Settings


@dataclass(frozen=True, slots=True)
class KeyAction:
    """One action: its name in code and settings, the words on screen, its keys, its group."""

    name: str
    words: str
    key: str
    group: str


BENCH, TIME, PICTURE, EDIT, PROGRAM = "bench", "time", "picture", "regions", "program"
STEP = "steps"
DRAW = "draw"  # the picture's own actions, by the names that it gives them

ACTIONS = (
    KeyAction("mark", "mark this moment", "M", BENCH),
    KeyAction("zero", "zero now: rises count from here", "Z", BENCH),
    KeyAction("power_on", "power on now", "P", BENCH),
    KeyAction("power_off", "power off now", "O", BENCH),
    KeyAction("fault_appears", "fault appears", "F", BENCH),
    KeyAction("fault_gone", "fault gone", "G", BENCH),
    KeyAction("meant_warm", "the chosen is meant to be warm, or not", "W", BENCH),
    KeyAction("matt_patch", "the region is a matt patch, or not", "9", BENCH),
    KeyAction("still", "still picture into a file", "S", BENCH),
    KeyAction("record", "start or stop recording", "R", BENCH),
    KeyAction("stop", "stop recording and playing", "X", BENCH),
    KeyAction("shutter", "work the camera's shutter", ";", BENCH),
    KeyAction("tone", "tone that climbs with the watched region", "T", BENCH),
    KeyAction("play", "play or pause", "Space", TIME),
    KeyAction("back", "one frame back", ",", TIME),
    KeyAction("forward", "one frame forward", ".", TIME),
    KeyAction("next_mark", "next mark", "N", TIME),
    KeyAction("previous_mark", "previous mark", "B", TIME),
    KeyAction("start", "first frame", "Home", TIME),
    KeyAction("end", "last frame, or the live edge", "End", TIME),
    KeyAction("view", "temperature, rise, heat sources in turn", "V", PICTURE),
    KeyAction("level", "level: automatic or frozen", "L", PICTURE),
    KeyAction("turn", "quarter turn", "Q", PICTURE),
    KeyAction("mirror", "mirror", "I", PICTURE),
    KeyAction("copy", "copy the picture", "Ctrl+C", PICTURE),
    KeyAction("fit", "show the whole picture", "0", DRAW),
    KeyAction("focus", "sharpness as a number", "K", DRAW),
    KeyAction("markers", "mark hottest and coldest pixel", "H", DRAW),
    KeyAction("parts", "draw the board's parts", "A", DRAW),
    KeyAction("shiny", "hatch shiny places", "E", DRAW),
    KeyAction("average", "average the picture over time", "U", DRAW),
    KeyAction("follow", "hold the picture still on the board", "8", DRAW),
    KeyAction("smooth", "smooth between pixels", "J", DRAW),
    KeyAction("find_part", "find a part", "/", PICTURE),
    KeyAction("match", "matching points: where the board lies", "C", PICTURE),
    KeyAction("photo", "photo under the heat", "F8", PICTURE),
    KeyAction("tool_select", "select and move regions", "1", DRAW),
    KeyAction("tool_spot", "draw a spot", "2", DRAW),
    KeyAction("tool_line", "draw a line", "3", DRAW),
    KeyAction("tool_rectangle", "draw a rectangle", "4", DRAW),
    KeyAction("tool_ellipse", "draw an ellipse", "5", DRAW),
    KeyAction("tool_polygon", "draw any outline", "6", DRAW),
    KeyAction("tool_ruler", "measure a length", "7", DRAW),
    KeyAction("undo", "undo", "Ctrl+Z", EDIT),
    KeyAction("redo", "redo", "Ctrl+Shift+Z", EDIT),
    KeyAction("delete", "delete the selected", "Del", EDIT),
    KeyAction("duplicate", "duplicate the selected", "D", EDIT),
    KeyAction("rename", "rename the selected", "F2", EDIT),
    KeyAction("difference", "difference of the two selected", "-", EDIT),
    KeyAction("step_look", "look: eyes first", "F3", STEP),
    KeyAction("step_measure", "measure: the meter", "F4", STEP),
    KeyAction("step_power_up", "power up: watch what warms", "F5", STEP),
    KeyAction("step_compare", "compare with a board that works", "F6", STEP),
    KeyAction("step_write_down", "write down what was found", "F7", STEP),
    KeyAction("open", "open a file …", "Ctrl+O", PROGRAM),
    KeyAction("save_regions", "save the regions", "Ctrl+S", PROGRAM),
    KeyAction("triggers", "triggers …", "Y", PROGRAM),
    KeyAction("help", "keys …", "F1", PROGRAM),
    KeyAction("quit", "quit", "Ctrl+Q", PROGRAM),
)


class Keys:
    """Which key does what: the defaults with the user's own choices over them."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        known = {action.name for action in ACTIONS}
        stored = settings.get("keys", {})
        self._own = {
            name: key for name, key in stored.items() if name in known and isinstance(key, str)
        }

    def key(self, name: str) -> str:
        """Return the key of an action as portable text, such as ``Ctrl+Z``; empty for none."""
        default = next(action.key for action in ACTIONS if action.name == name)
        return self._own.get(name, default)

    def taken_by(self, key: str, but: str) -> KeyAction | None:
        """Return the action other than `but` that has `key`."""
        others = (action for action in ACTIONS if action.name != but)
        return next((a for a in others if key and self.key(a.name) == key), None)

    def bind(self, name: str, key: str) -> None:
        """Give an action another key.

        Raises
        ------
        UsageError
            The key already does something else.
        """
        other = self.taken_by(key, name)
        if other is not None:
            raise UsageError(f"the key {key} already means “{other.words}”; choose another")
        self._own[name] = key
        self._settings.set("keys", dict(self._own))

    def reset(self) -> None:
        """Go back to the defaults."""
        self._own.clear()
        self._settings.set("keys", {})
