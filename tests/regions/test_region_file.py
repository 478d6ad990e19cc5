"""The regions file: there and back, °C outside and K inside, and one line for what is wrong."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thermview.errors import InputError, OutputError, ThermviewError
from thermview.regions import (
    Ellipse,
    Polygon,
    Rectangle,
    RegionDocument,
    Spot,
    load_regions,
    save_regions,
)

CONTRACT = {
    "version": 1,
    "regions": [
        {"name": "U3", "shape": "spot", "x": 1, "y": 2, "colour of theirs": "kept elsewhere"},
        {"name": "track", "shape": "line", "x1": 1, "y1": 2, "x2": 3, "y2": 4},
        {"name": "U7", "shape": "rectangle", "x": 1, "y": 2, "width": 3, "height": 4, "limit": 85},
        {"name": "can", "shape": "ellipse", "cx": 1, "cy": 2, "rx": 3, "ry": 4, "emissivity": 0.3},
        {
            "name": "plane",
            "shape": "polygon",
            "points": [[0, 0], [9, 0], [9, 9.5]],
            "emissivity": 1,
            "reflected_temperature": 23,
        },
    ],
}


def written(folder: Path, document: Any) -> Path:
    path = folder / "regions.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document))
    return path


def test_contract_is_read(tmp_path: Path) -> None:
    regions = load_regions(written(tmp_path, CONTRACT)).regions
    assert [region.name for region in regions] == ["U3", "track", "U7", "can", "plane"]
    assert regions[0].shape == Spot(1, 2)
    assert regions[2].limit_k == 85 + 273.15
    assert regions[3].shape == Ellipse(1, 2, 3, 4)
    assert regions[3].emissivity == 0.3
    assert regions[4].reflected_k == pytest.approx(296.15)
    assert regions[4].shape == Polygon(((0, 0), (9, 0), (9, 9.5)))
    assert regions[0].emissivity is regions[0].reflected_k is regions[0].limit_k is None


def test_saved_file_reads_the_same(tmp_path: Path) -> None:
    document = RegionDocument()
    first = document.add(Rectangle(1.5, 2.25, 3, 4), "Regler ü")
    second = document.add(Spot(0.1, 0.2))
    document.configure(first.id, emissivity=0.95, reflected_k=295.65, limit_k=358.15)
    document.configure(second.id, statistic="min")
    document.add_difference(first.id, second.id)
    path = tmp_path / "r.json"
    save_regions(path, document.current)
    entry = json.loads(path.read_text(encoding="utf-8"))["regions"][0]
    assert entry["reflected_temperature"] == 22.5
    assert entry["limit"] == 85
    again = load_regions(path)
    save_regions(tmp_path / "again.json", again)
    assert (tmp_path / "again.json").read_text() == path.read_text()
    assert again.differences[0].minuend_id == again.by_name("Regler ü").id
    assert again.by_name("A1").statistic == "min"
    assert sorted(item.name for item in tmp_path.iterdir()) == ["again.json", "r.json"]


def test_place_that_refuses(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        save_regions(tmp_path / "missing" / "r.json", RegionDocument().current)


def changed(number: int, **entry: Any) -> dict[str, Any]:
    document = json.loads(json.dumps(CONTRACT))
    document["regions"][number] |= entry
    return document  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("document", "line"),
    [
        (changed(3, rx=-2), 'regions.json: region 4 "can": rx must be above 0, got -2'),
        (
            changed(2, name="U3"),
            'regions.json: region 3 "U3": the name is taken by a region before it; '
            "names must differ",
        ),
        (changed(1, name=""), "regions.json: region 2: name must be a text"),
        (changed(1, name="a\nb"), "regions.json: region 2: name must be one line"),
        (
            changed(3, emissivity=1.5),
            'region 4 "can": emissivity must be above 0 and at most 1, got 1.5',
        ),
        (changed(3, emissivity="0.9"), "emissivity must be a number, got '0.9'"),
        (changed(3, emissivity=float("nan")), "emissivity must be a finite number"),
        (changed(3, limit=-300), "limit must be above -273.15 °C"),
        (changed(3, limit=10**400), "limit must be a finite number"),
        (changed(3, reflected_temperature=[1]), "reflected_temperature must be a number"),
        (changed(3, statistic=["max"]), "statistic must be one of min, mean, max"),
        ({"version": 2, "regions": []}, "version must be 1, got 2"),
        ({"version": 1}, "not a regions file"),
        ([1, 2], "not a regions file"),
        ({"version": 1, "regions": [3]}, "region 1: must be an object"),
        ("", "not JSON"),
        ("{", "not JSON"),
        ("[" * 100_000, "not JSON"),
        (CONTRACT | {"differences": [{"name": "d", "minuend": "U3", "subtrahend": "U9"}]}, "U9"),
        (
            CONTRACT | {"differences": [{"name": "U3", "minuend": "U3", "subtrahend": "U7"}]},
            'difference 1 "U3": the name is taken',
        ),
        (
            CONTRACT | {"differences": [{"name": "d", "minuend": "U3", "subtrahend": "U3"}]},
            "two different regions",
        ),
        (CONTRACT | {"differences": {}}, "differences must be a list"),
    ],
)
def test_one_line_says_what_is_wrong(tmp_path: Path, document: Any, line: str) -> None:
    with pytest.raises(InputError) as caught:
        load_regions(written(tmp_path, document))
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_file_no_text_no_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_regions(tmp_path / "none.json")
    with pytest.raises(InputError, match="cannot be read"):
        load_regions(tmp_path)
    (tmp_path / "b.json").write_bytes(bytes(range(256)))
    with pytest.raises(InputError, match="not JSON"):
        load_regions(tmp_path / "b.json")


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    number=st.integers(0, 4),
    key=st.sampled_from(
        ["name", "shape", "x", "x2", "width", "ry", "points", "emissivity", "limit", "statistic"]
    ),
    value=anything,
)
def test_nonsense_is_refused_in_one_line_or_read(
    tmp_path: Path, number: int, key: str, value: Any
) -> None:
    said = ""
    try:
        regions = load_regions(written(tmp_path, changed(number, **{key: value})))
    except ThermviewError as error:
        said = str(error)
    assert len(said.splitlines()) == 1 if said else len(regions) == 5
    assert not said or said.startswith("regions.json: region ")
