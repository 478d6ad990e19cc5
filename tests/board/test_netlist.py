"""IPC-D-356A: the columns as gerbonara's reader and KiCad's exporter have them."""

from pathlib import Path

import pytest

from thermview.board import Part, load_netlist, parse_netlist, with_nets
from thermview.errors import InputError

RECORD = "327GND              C12   -2          A01X+012500Y+020000X0400Y0500R090 S2"
SHIFTED = "327GND              C12   -2          A01X+012500Y+020000X0400Y0500R090S2"  # KiCad's
HEAD = "C  example\nP  JOB trial\nP  UNITS CUST 0\n"


@pytest.mark.parametrize("record", [RECORD, SHIFTED])
def test_the_example_record(record: str) -> None:
    assert (RECORD.index("S"), SHIFTED.index("S")) == (72, 71)
    (pad,) = parse_netlist(f"{HEAD}{record}\n999\n").pads
    assert (pad.designator, pad.pin, pad.net) == ("C12", "2", "GND")
    assert (pad.x_mm, pad.y_mm) == pytest.approx((1.25 * 25.4, 2.0 * 25.4))
    assert pad.mask == "bottom"
    assert not pad.through


@pytest.mark.parametrize(("units", "mm"), [("CUST 0", 31.75), ("CUST 1", 12.5), ("CUST 2", 31.75)])
def test_units(units: str, mm: float) -> None:
    (pad,) = parse_netlist(f"P  UNITS {units}\n{RECORD}\n999\n").pads
    assert pad.x_mm == pytest.approx(mm)


def test_long_names_vias_and_unconnected_pins() -> None:
    text = HEAD + "\n".join(
        [
            "P  NNAME1 SUPPLY_OF_THE_VALVES_SWITCHED",
            "327NNAME1           U3    -1          A01X+012500Y+020000X0400Y0500R000 S0",
            "327N/C              U3    -2          A01X+013500Y+020000X0400Y0500R000 S0",
            "327+3V3             U3    -3          A01X+014500Y+020000X0400Y0500R000 S0",
            "327+3V3             C12   -1          A01X+014500Y+021000X0400Y0500R000 S0",
            "317+3V3             VIA   -     D0118PA00X+005118Y+002835X0236Y0000R000 S3",
            "017X+0001",
            "367                 H1    -     D1260UA00X+005118Y+102835X0236Y0000R000 S3",
            "999",
        ]
    )
    netlist = parse_netlist(text)
    assert netlist.nets() == {"U3": ("+3V3", "SUPPLY_OF_THE_VALVES_SWITCHED"), "C12": ("+3V3",)}
    assert netlist.parts_on("+3V3") == ("U3", "C12")
    parts = (Part("U3", "SOIC-8", 0, 0), Part("R9", "R_0603", 0, 0, nets=("GND",)))
    joined = with_nets(parts, netlist)
    assert joined[0].nets == ("+3V3", "SUPPLY_OF_THE_VALVES_SWITCHED")
    assert joined[1].nets == ("GND",)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no test record"),
        ("hello\n", "no test record"),
        (RECORD, "unit"),
        (HEAD + RECORD.replace("+012500", "+01x500"), "no IPC-D-356A"),
        ("P  UNITS CUST 7\n" + RECORD, "unit"),
    ],
)
def test_what_is_no_netlist_is_told_in_one_line(text: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        parse_netlist(text, "trial.ipc")
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        load_netlist(tmp_path / "no.ipc")
