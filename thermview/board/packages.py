"""Body sizes by the names of packages: chip sizes, IPC-7351 names, JEDEC and everyday names."""

from __future__ import annotations

import re

# Length x width, mm. Chip sizes: EIA (inch) names with the metric size that each stands for,
# as in IEC 60115-8 / EIA-198; from memory.
_CHIPS_INCH = {
    "01005": (0.4, 0.2),
    "0201": (0.6, 0.3),
    "0402": (1.0, 0.5),
    "0603": (1.6, 0.8),
    "0805": (2.0, 1.25),
    "1008": (2.5, 2.0),
    "1206": (3.2, 1.6),
    "1210": (3.2, 2.5),
    "1806": (4.5, 1.6),
    "1812": (4.5, 3.2),
    "2010": (5.0, 2.5),
    "2220": (5.7, 5.0),
    "2512": (6.3, 3.2),
}
_TANTALUM_CASES = {  # EIA-535BAAC case letters; from memory
    "A": (3.2, 1.6),
    "B": (3.5, 2.8),
    "C": (6.0, 3.2),
    "D": (7.3, 4.3),
    "E": (7.3, 4.3),
}
# Nominal bodies without leads; leads leave to the left and right at rotation 0 (IPC-7351's zero
# orientation, pin 1 upper left). JEDEC outlines, from memory.
_BODIES = {
    "SOT23": (1.3, 2.9),
    "SOT23-5": (1.6, 2.9),
    "SOT23-6": (1.6, 2.9),
    "SOT323": (1.25, 2.0),
    "SC70": (1.25, 2.0),
    "SOT363": (1.25, 2.0),
    "SOT89": (2.5, 4.5),
    "SOT223": (3.5, 6.5),
    "TO252": (6.1, 6.5),
    "DPAK": (6.1, 6.5),
    "TO263": (8.7, 10.0),
    "D2PAK": (8.7, 10.0),
    "TO220": (10.0, 4.5),
    "TO92": (4.8, 3.7),
    "SOD123": (2.7, 1.6),
    "SOD323": (1.7, 1.25),
    "SOD523": (1.2, 0.8),
    "SMA": (4.3, 2.6),
    "DO214AC": (4.3, 2.6),
    "SMB": (4.4, 3.6),
    "DO214AA": (4.4, 3.6),
    "SMC": (6.9, 5.9),
    "DO214AB": (6.9, 5.9),
    "MELF": (5.0, 2.2),
    "MINIMELF": (3.5, 1.5),
    "HC49": (11.0, 4.7),
}
_ROWS = {  # family: (pitch along the row, body's overhang beyond the end pins, body width)
    "SOIC": (1.27, 1.1, 3.9),
    "SO": (1.27, 1.1, 3.9),
    "SOP": (1.27, 1.1, 3.9),
    "SOICW": (1.27, 1.4, 7.5),
    "SOW": (1.27, 1.4, 7.5),
    "SSOP": (0.65, 1.3, 5.3),
    "TSSOP": (0.65, 1.05, 4.4),
    "HTSSOP": (0.65, 1.05, 4.4),
    "MSOP": (0.65, 1.05, 3.0),
    "VSSOP": (0.65, 1.05, 3.0),
    "DIP": (2.54, 2.2, 6.4),
    "PDIP": (2.54, 2.2, 6.4),
}
_QUADS = {  # pins: body of LQFP and TQFP at their commonest pitch (JEDEC MS-026), from memory
    32: 7.0,
    44: 10.0,
    48: 7.0,
    52: 10.0,
    64: 10.0,
    80: 12.0,
    100: 14.0,
    128: 14.0,
    144: 20.0,
    176: 24.0,
    208: 28.0,
}
_QFN = {16: 3.0, 20: 4.0, 24: 4.0, 28: 5.0, 32: 5.0, 40: 6.0, 48: 7.0, 56: 8.0, 64: 9.0}

_STATED = re.compile(
    r"(?<![\d.])(\d+(?:\.\d+)?)\s*(?:mm)?[x×](\d+(?:\.\d+)?)(?:[x×][\d.]+)?(?:mm|$|_)"
)
_ROUND = re.compile(r"^(CP|C)_(RADIAL|ELEC)|^(CAPAE|CAPPRD)")
_METRIC_CHIP = re.compile(r"(?<!\d)(\d{2})(\d{2})METRIC")
_IPC_CHIP = re.compile(r"^[A-Z]{3,6}?(\d{2})(\d{2})X\d+[A-Z]?$")
_IPC_ROWS = re.compile(r"^(SOIC|SOP|SSOP|TSSOP|SOT|CFP|SOJ)(\d+)P(\d+)X(\d+)-(\d+)")
_IPC_QUAD = re.compile(r"^(QFP|TQFP|LQFP|CQFP|QFN|PQFN|DFN|SON|PSON|BGA|LGA)\w*?(\d+)P(\d+)X(\d+)X")
_CHIP = re.compile(r"(?<!\d)(01005|\d{4})(?!\d)")
_CASE = re.compile(r"(?:CASE|TANT(?:ALUM)?|EIA)[-_ ]?([A-E])(?![A-Z0-9])")
_FAMILY = re.compile(r"^([A-Z]+)-?(\d+)(W?)(?![A-Z0-9])")


def body_size_mm(package: str) -> tuple[float, float] | None:
    """Return the body's length and width by its package's name, mm at rotation 0.

    The first of these that fits: a size in the name (``QFN-32_5x5mm``, ``L_8x8``), an IPC-7351
    name (``CAPC1608X90N``, ``SOIC127P600X175-8N``), a chip size (``R_0603``, inch name unless
    ``Metric`` follows), a tantalum case (``CASE-B``), a JEDEC or everyday name (``SOIC-8``,
    ``LQFP-64``, ``SOT-223``).

    Returns
    -------
    (width_mm, height_mm), or None where the name tells nothing.
    """
    name = package.strip().upper()
    return (
        _ipc(name) or _metric_chip(name) or _stated(package.strip()) or _chip(name) or _named(name)
    )


def _stated(name: str) -> tuple[float, float] | None:
    if not (match := _STATED.search(name)):
        return None
    width, height = float(match[1]), float(match[2])
    if _ROUND.match(name.upper()):  # cans name their diameter and how tall they stand
        return (width, width)
    return (width, height) if min(width, height) >= 0.1 and max(width, height) <= 200 else None


def _metric_chip(name: str) -> tuple[float, float] | None:
    match = _METRIC_CHIP.search(name)
    return (int(match[1]) / 10, int(match[2]) / 10) if match else None


def _ipc(name: str) -> tuple[float, float] | None:
    """Read IPC-7351 names: hundredths of mm; lead spans are brought back to bodies."""
    if match := _IPC_ROWS.match(name):
        pitch, span, pins = int(match[2]) / 100, int(match[3]) / 100, int(match[5])
        lead = 0.7 if span < 4 else 1.05  # from body to lead tip, common practice, no source
        per_row = 3 if match[1] == "SOT" else (pins + 1) // 2
        return (round(max(span - 2 * lead, 1.2), 2), round((per_row - 1) * pitch + 1.0, 2))
    if match := _IPC_QUAD.match(name):
        width, height = int(match[3]) / 100, int(match[4]) / 100
        leads = 2.0 if match[1].endswith("QFP") else 0.0
        return (width - leads, height - leads)
    if match := _IPC_CHIP.match(name):
        return (int(match[1]) / 10, int(match[2]) / 10)
    return None


def _chip(name: str) -> tuple[float, float] | None:
    for match in _CHIP.finditer(name):
        if size := _CHIPS_INCH.get(match[1]):
            return size
    match_case = _CASE.search(name)
    return _TANTALUM_CASES[match_case[1]] if match_case else None


def _named(name: str) -> tuple[float, float] | None:
    name = re.sub(r"^[A-Z]{1,3}_", "", name)  # D_SMA, Q_SOT-23
    plain = re.sub(r"(?<=[A-Z])[-_ ](?=\d)", "", name)  # SOT-23-5 and SOT23-5 are one
    for length in range(len(plain), 2, -1):
        if size := _BODIES.get(plain[:length]):
            return size
    if not (match := _FAMILY.match(name.replace("_", "-"))):
        return None
    family, pins = match[1], int(match[2])
    if row := _ROWS.get(family + match[3]) or _ROWS.get(family):
        pitch, overhang, width = row
        return (width, round((pins / 2 - 1) * pitch + overhang, 2))
    side = _QUADS.get(pins) if family.endswith("QFP") else None
    side = side or (_QFN.get(pins) if "QFN" in family else None)
    return (side, side) if side else None
