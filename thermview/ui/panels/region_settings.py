"""The selected region's settings: emissivity and its origin, limit, statistic, part's size."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QGridLayout, QLineEdit, QMenu, QPushButton, QWidget

from thermview.errors import ThermviewError
from thermview.radiometry.emissivity import Material, materials
from thermview.regions import STATISTICS, Region
from thermview.session.remarks import MATERIAL, material_of
from thermview.ui.desk import Desk
from thermview.ui.theme import tokens
from thermview.ui.widgets import button, label, named

STATISTIC_WORDS = {"max": "highest", "mean": "mean", "min": "lowest"}
BASIS = {
    "seen": "its source was seen",
    "memory": "from memory, not confirmed",
    "practice": "common practice, no source",
}
NOT_CHOSEN = "choose a material …"


class SelectedSettings(QWidget):
    """Fields for all selected regions; what cannot be is said and not set."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setObjectName("regionSettingsFields")
        self._desk = desk
        self.emissivity = _field("emissivityEdit", "0 to 1; empty: not stated, apparent numbers")
        self.doubt = _field(
            "emissivityDoubtEdit",
            "standard uncertainty of the emissivity; empty: 0.02, or 0.05 for a metal "
            "(common practice)",
        )
        self.limit = _field("limitEdit", "warn above this temperature; empty: no limit")
        self.body = _field(
            "bodyEdit",
            "the part's body in mm, such as 1.6 x 0.8: small parts are then corrected for the "
            "camera's spread; empty: the placement list's",
        )
        self.statistic = named(QComboBox(), "statisticBox")
        for name in ("max", "mean", "min"):
            self.statistic.addItem(STATISTIC_WORDS[name], name)
        assert set(STATISTIC_WORDS) == set(STATISTICS)
        self.material = self._material_box()
        self.measure: QPushButton = button(
            "measure …",
            "measureEmissivity",
            symbol="thermometer",
            tip="find the emissivity in place: by tape or paint, by a contact thermometer; what is "
            "mirrored, by crumpled foil",
        )
        self.guides: dict[str, Callable[[], object]] = {}
        self._lay_out()
        self.emissivity.editingFinished.connect(self._set_emissivity)
        self.doubt.editingFinished.connect(self._set_doubt)
        self.limit.editingFinished.connect(self._set_limit)
        self.body.editingFinished.connect(self._set_size)
        self.statistic.activated.connect(lambda _: self._set_statistic())
        self.material.activated.connect(self._set_material)

    def _material_box(self) -> QComboBox:
        box = named(QComboBox(), "materialBox")
        box.addItem(NOT_CHOSEN, None)
        for position, row in enumerate(materials(), 1):
            box.addItem(f"{row.name}  {row.low:.2f}–{row.high:.2f}", row)
            box.setItemData(position, material_words(row), Qt.ItemDataRole.ToolTipRole)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(12)
        return box

    def _lay_out(self) -> None:
        grid = QGridLayout(self)
        grid.setContentsMargins(0, tokens().space, 0, 0)
        grid.setSpacing(4)
        upper = (
            ("emissivity", self.emissivity, 1),
            ("± of it", self.doubt, 1),
            ("limit", self.limit, 1),
            ("shows", self.statistic, 1),
        )
        lower = (
            ("material", self.material, 2),
            ("or", self.measure, 1),
            ("part, mm", self.body, 1),
        )
        for line, fields in ((0, upper), (2, lower)):
            position = 0
            for words, field, width in fields:
                grid.addWidget(label(words, f"label_{words}", "small"), line, position, 1, width)
                grid.addWidget(field, line + 1, position, 1, width)
                field.setAccessibleName(words)
                position += width
        for position in range(4):
            grid.setColumnStretch(position, 1)

    def offer(self, guides: dict[str, Callable[[], object]]) -> None:
        """Take the ways to measure an emissivity, by their words."""
        self.guides = guides
        menu = QMenu(self.measure)
        menu.setObjectName("measureMenu")
        for words, begin in guides.items():
            menu.addAction(words, begin)
        self.measure.setMenu(menu)

    def refresh(self) -> None:
        """Put the first selected region's settings into the fields."""
        chosen = self._desk.selected_regions()
        if not chosen:
            return
        region, display = chosen[0], self._desk.display
        self.emissivity.setText("" if region.emissivity is None else f"{region.emissivity:.3g}")
        self.emissivity.setPlaceholderText("none")
        self.doubt.setText("" if region.emissivity_u is None else f"{region.emissivity_u:.2g}")
        self.doubt.setPlaceholderText("usual")
        limit = "" if region.limit_k is None else f"{display.temperature(region.limit_k):.6g}"
        self.limit.setText(limit)
        self.limit.setPlaceholderText(display.symbol)
        self.body.setText("" if region.body_mm is None else _sides_text(region.body_mm))
        known = self._desk.optics.judge().bodies_mm.get(region.name) if self._desk.session else None
        self.body.setPlaceholderText("w x h" if known is None else _sides_text(known))
        self.statistic.setCurrentIndex(self.statistic.findData(region.statistic))
        self._show_material(region)
        for field in (self.emissivity, self.doubt, self.material, self.measure):
            field.setEnabled(not display.relative)

    def _show_material(self, region: Region) -> None:
        name = material_of(region)
        names = [row.name for row in materials()]
        self.material.setCurrentIndex(names.index(name) + 1 if name in names else 0)
        words = "emissivity from a table: a first guess; measure in place where it matters"
        if region.emissivity_from:
            words = f"the emissivity is from {region.emissivity_from}"
            words += f"\n{material_words(materials()[names.index(name)])}" if name in names else ""
        self.material.setToolTip(words)

    # ---- setting -------------------------------------------------------------------------

    def _set_emissivity(self) -> None:
        value = _number(self.emissivity.text())
        chosen = self._desk.selected_regions()
        if not chosen or self.emissivity.text() == _shown(chosen[0].emissivity):
            return  # the same, perhaps with more digits than are shown
        self._configure("emissivity", emissivity=value, emissivity_u=None, emissivity_from="")

    def _set_doubt(self) -> None:
        self._configure("emissivity's uncertainty", emissivity_u=_number(self.doubt.text()))

    def _set_limit(self) -> None:
        shown = _number(self.limit.text())
        unit = self._desk.display.unit
        kelvin = unit.to_kelvin(shown) if isinstance(shown, float) else shown
        self._configure("limit", limit_k=kelvin)

    def _set_size(self) -> None:
        self._configure("size of the part", body_mm=_sides(self.body.text()))

    def _set_statistic(self) -> None:
        self._configure("statistic", statistic=self.statistic.currentData())

    def _set_material(self, position: int) -> None:
        row = self.material.itemData(position)
        if not isinstance(row, Material):
            self.refresh()
            return
        self._configure(
            "material",
            emissivity=round(row.emissivity, 3),
            emissivity_u=round(row.u, 3),
            emissivity_from=f"{MATERIAL}{row.name}",
        )
        self.refresh()

    def _configure(self, what: str, **values: Any) -> None:
        """Set all selected regions, as one step to undo."""
        document = self._desk.document
        try:
            if _BAD in values.values():
                raise _not_a_number()
            document.begin_gesture(f"set {what}")
            for region in self._desk.selected_regions():
                if any(getattr(region, name) != value for name, value in values.items()):
                    document.configure(region.id, **values)
            document.end_gesture()
        except ThermviewError as error:
            document.cancel_gesture()
            self._desk.say("error", str(error))
            self.refresh()


def material_words(row: Material) -> str:
    """Return where a row of the table comes from, for people."""
    words = f"{row.emissivity:.2f} ± {row.u:.2f}: {row.source} ({BASIS.get(row.basis, row.basis)})"
    return f"{words}\n{row.note}" if row.note else words


def _field(name: str, tip: str) -> QLineEdit:
    made = named(QLineEdit(), name)
    made.setToolTip(tip)
    return made


_BAD = object()


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:.3g}"


def _number(text: str) -> object:
    """Return the number in a field, None for an empty one, `_BAD` for anything else."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        return _BAD


def _sides(text: str) -> object:
    """Return the two sides in a field, None for an empty one, `_BAD` for anything else."""
    if not text.strip():
        return None
    sides = [_number(part) for part in text.replace("×", "x").lower().split("x")]
    if len(sides) != 2 or not all(isinstance(side, float) for side in sides):
        return _BAD
    return tuple(sides)


def _sides_text(sides: tuple[float, float]) -> str:
    return f"{sides[0]:g} x {sides[1]:g}"


def _not_a_number() -> ThermviewError:
    return ThermviewError(
        "that is not a number; write it like 0.95 (a size like 1.6 x 0.8), or leave it empty"
    )
