"""Placement lists as CAD programs export them, and body sizes by package names."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermview.board import (
    Part,
    body_size_mm,
    format_placement,
    load_placement,
    parse_placement,
)
from thermview.errors import InputError


def test_kicad_centroid_csv() -> None:
    # header as KiCad writes it (CHECKS 10): text quoted, y up
    text = (
        "Ref,Val,Package,PosX,PosY,Rot,Side\n"
        '"C1","100n","C_0603_1608Metric",12.500000,-40.250000,90.000000,top\n'
        '"U1","MCU, 32 bit","LQFP-48_7x7mm_P0.5mm",30.0,-20.0,0.0,bottom\n'
    )
    c1, u1 = parse_placement(text)
    assert (c1.designator, c1.value, c1.x_mm, c1.y_mm) == ("C1", "100n", 12.5, -40.25)
    assert (c1.rotation_deg, c1.side, c1.width_mm, c1.height_mm) == (90.0, "top", 1.6, 0.8)
    assert (u1.value, u1.side, u1.width_mm) == ("MCU, 32 bit", "bottom", 7.0)


def test_kicad_report_form() -> None:
    text = (
        "### Module positions - created on some day ###\n"
        "## Unit = mm, Angle = deg.\n## Side : All\n"
        "# Ref     Val       Package         PosX       PosY       Rot  Side\n"
        "C1        100n      C_0402      12.5000   -40.2500   90.0000  top\n"
        "## End\n"
    )
    (part,) = parse_placement(text)
    assert (part.designator, part.x_mm, part.width_mm) == ("C1", 12.5, 1.0)


@pytest.mark.parametrize(
    ("text", "x_mm"),
    [
        ("Designator,Mid X,Mid Y,Layer,Rotation\nR1,100mil,200mil,TopLayer,0\n", 2.54),
        ("Designator,Center-X(mil),Center-Y(mil)\nR1,100,200\n", 2.54),
        ("RefDes;X (inch);Y (inch)\nR1;0.1;0.2\n", 2.54),
        ('REFDES\tPos X\tPos Y\nR1\t0.1"\t0.2in\n', 2.54),
        ("Units used: mil\n\nDesignator,X,Y\nR1,100,200\n", 2.54),
        ("Ref,X,Y\nR1,2.54mm,1\n", 2.54),
        ('"Designator","X (mm)","Y (mm)"\n"R1"," 2.54 ","1e0"\n', 2.54),
        ("\ufeffRef,X,Y\r\nR1,2.54,1\r\n", 2.54),
        ("Comment,Y,Designator,X\n10k,3,R1,2.54\n", 2.54),
    ],
)
def test_spellings_and_units(tmp_path: Path, text: str, x_mm: float) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8", newline="")
    (part,) = load_placement(path)
    assert part.designator == "R1"
    assert part.x_mm == pytest.approx(x_mm)


def test_stated_size_and_nets_win_over_the_package() -> None:
    text = (
        "Ref,Package,X,Y,Width(mm),Height(mm),Net(s)\nK1,0603,1,2,19,15,24V GND\nC1,0603,1,2,,,\n"
    )
    relay, capacitor = parse_placement(text)
    assert (relay.width_mm, relay.height_mm, relay.nets) == (19.0, 15.0, ("24V", "GND"))
    assert (capacitor.width_mm, capacitor.nets, capacitor.size_assumed) == (1.6, (), False)


def test_unknown_package_is_assumed_and_says_so() -> None:
    (part,) = parse_placement("Ref,Package,X,Y\nX1,mystery,1,2\n")
    assert part.size_assumed


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no header"),
        ("1,2,3\n4,5,6\n", "no header"),
        ("Ref,X,Y\n", "lists no parts"),
        ("Ref,X,Y\nR1,abc,2\n", "line 2: x is 'abc'"),
        ("Ref,X,Y\nR1,nan,2\n", "line 2"),
        ("Ref,X,Y\nR1,1e999,2\n", "line 2"),
        ("Ref,X,Y\nR1,1\n", "line 2: y is ''"),
        ("Ref,X,Y\n,1,2\n", "line 2: the designator is empty"),
        ("Ref,X,Y\nR1,1,2\nR1,3,4\n", "R1 twice"),
        ("Ref,X,Y,Rot\nR1,1,2,up\n", "rotation"),
        ("Ref,X,Y,Width,Height\nR1,1,2,0,1\n", "give > 0"),
    ],
)
def test_wrong_lists_are_told_in_one_line(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_placement(text, "x.csv")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@given(st.text(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_text_gives_parts_or_an_error(text: str) -> None:
    for body in (text, "Ref,X,Y\n" + text):
        parts: tuple[Part, ...] = ()
        with suppress(InputError):
            parts = parse_placement(body)
        assert all(np.isfinite([p.x_mm, p.y_mm]).all() for p in parts)


def test_missing_and_binary_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot read"):
        load_placement(tmp_path / "none.csv")
    path = tmp_path / "binary.csv"
    path.write_bytes(bytes(range(256)) * 10)
    with pytest.raises(InputError):
        load_placement(path)


def test_round_trip() -> None:
    parts = (
        Part("C1", "0603", 12.5, 40.25, 90, "top", "100n", 1.6, 0.8, ("3V3", "GND")),
        Part("U1", "SOIC-8, wide", -3.0, 0.0, 0, "bottom", 'a "b"', 3.9, 4.9),
    )
    assert parse_placement(format_placement(parts)) == parts


@pytest.mark.parametrize(
    ("name", "size"),
    [
        # chip sizes, IPC-7351 naming, JEDEC MS-012 / MS-026 / MO-153 / TO-261: from memory
        ("0402", (1.0, 0.5)),
        ("R_0603_1608Metric", (1.6, 0.8)),
        ("RESC2012X60N", (2.0, 1.2)),
        ("CAPC3216X180N", (3.2, 1.6)),
        ("CAPMP7343X310N", (7.3, 4.3)),
        ("CASE-B", (3.5, 2.8)),
        ("SOIC-8", (3.9, 4.9)),
        ("SOIC127P600X175-8N", (3.9, 4.8)),
        ("SOIC-16W", (7.5, 10.3)),
        ("TSSOP-20_4.4x6.5mm_P0.65mm", (4.4, 6.5)),
        ("TSSOP-20", (4.4, 6.5)),
        ("LQFP-64", (10.0, 10.0)),
        ("QFP50P1200X1200X160-64N", (10.0, 10.0)),
        ("QFN-32-1EP_5x5mm_P0.5mm", (5.0, 5.0)),
        ("SOT-223", (3.5, 6.5)),
        ("SOT23-5", (1.6, 2.9)),
        ("CP_Elec_8x10", (8.0, 8.0)),
        ("D_SMA", (4.3, 2.6)),
        ("L_8x8", (8.0, 8.0)),
    ],
)
def test_body_sizes(name: str, size: tuple[float, float]) -> None:
    found = body_size_mm(name)
    assert found is not None
    assert found == pytest.approx(size, abs=0.41 if "-20" in name and "x" not in name else 0.15)


@pytest.mark.parametrize("name", ["", "RELAY", "CONN", "1234567", "x"])
def test_names_that_tell_nothing(name: str) -> None:
    assert body_size_mm(name) is None


def test_outline_turns_counter_clockwise() -> None:
    outline = Part("U1", "", 10.0, 20.0, 90.0, width_mm=4.0, height_mm=2.0).outline_mm()
    np.testing.assert_allclose(outline[0], [11.0, 18.0])
    np.testing.assert_allclose(np.ptp(outline, axis=0), [2.0, 4.0])


def test_other_programs_lists(samples: Path) -> None:
    for path in sorted(samples.glob("*.parts.csv")):
        parts = load_placement(path)
        assert len(parts) > 50
        assert not any(p.size_assumed for p in parts)


@pytest.mark.parametrize("sign", [1, -1])
def test_negated_x_of_the_bottom_is_turned_back(sign: int) -> None:
    text = (
        "Ref,Val,Package,PosX,PosY,Rot,Side\n"
        f'"C1","100n","C_0603",{sign * 30.5},-12.0,90,bottom\n"U1","x","SOIC-8",20,-10,0,top\n'
    )
    c1, u1 = parse_placement(text)
    assert (c1.x_mm, c1.y_mm, c1.side) == (30.5, -12.0, "bottom")
    assert u1.x_mm == 20
