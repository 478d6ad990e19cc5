from dataclasses import replace
from pathlib import Path

import pytest

from thermview.board import Part, PartMap, Place, load_part_map, save_part_map
from thermview.errors import InputError


def test_a_map_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    drawn = Part("driver", "", 22.5, 79.5, width_mm=5.0, height_mm=3.0, size_assumed=True)
    listed = replace(drawn, designator="U2", nets=("GND", "+5V"), size_assumed=False)
    kept = PartMap((drawn, listed), (Place("hole 1", 5.0, 91.0),))
    save_part_map(tmp_path / "map.json", kept)
    assert load_part_map(tmp_path / "map.json") == kept


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
