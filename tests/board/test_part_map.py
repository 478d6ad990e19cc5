from pathlib import Path

import pytest

from thermview.board import (
    Landmark,
    PartMap,
    drawn_part,
    drawn_place,
    fit_homography,
    load_part_map,
    part_outline_px,
    save_part_map,
)
from thermview.errors import InputError


def test_a_drawn_part_comes_back_where_it_was_drawn(tmp_path: Path) -> None:
    part = drawn_part("driver", (40, 30, 10, 6), 192)
    spots = ((10.0, 10.0), (240.0, 12.0), (238.0, 180.0), (12.0, 178.0))
    places = tuple(drawn_place(f"hole {n}", spot, 192) for n, spot in enumerate(spots, 1))
    save_part_map(tmp_path / "map.json", PartMap((part,), places))
    read = load_part_map(tmp_path / "map.json")
    assert read == PartMap((part,), places)
    marks = [Landmark((p.x_mm, p.y_mm), s) for p, s in zip(read.places, spots, strict=True)]
    outline = part_outline_px(read.parts[0], fit_homography(marks))
    assert outline.min(axis=0) == pytest.approx([40, 30])
    assert outline.max(axis=0) == pytest.approx([50, 36])


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "{}", '{"parts": 3}', '{"parts": [{"designator": "U1"}]}',
        '{"parts": [{"designator": "U1", "x_mm": 1, "y_mm": "nan"}]}',
        '{"parts": [{"designator": "U1", "x_mm": 1, "y_mm": 1, "width_mm": 0}]}',
        '{"parts": [{"designator": "U1", "x_mm": 1, "y_mm": 1}, '
        '{"designator": "U1", "x_mm": 1, "y_mm": 1}]}',
    ],
)  # fmt: skip
def test_what_is_no_map_is_told_in_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "map.json"
    path.write_text(text)
    with pytest.raises(InputError) as error:
        load_part_map(path)
    assert "\n" not in str(error.value)
