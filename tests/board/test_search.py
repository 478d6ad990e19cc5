import time

from thermview.board import Part, find_parts, format_placement, kind_of, nets_of, parse_placement

PARTS = (
    Part("C2", "C_0603", 0, 0, value="100n", nets=("+3V3", "GND")),
    Part("C12", "C_0603", 0, 0, value="100n", nets=("+5V", "GND"), side="bottom"),
    Part("U1", "SOIC-8", 0, 0, value="driver", nets=("+3V3", "GND", "OUT1")),
    Part("RV1", "SOIC-8", 0, 0),
    Part("R1", "R_0402", 0, 0, value="C1 is not here"),
)


def names(parts: list[Part]) -> list[str]:
    return [part.designator for part in parts]


def test_the_nearest_designator_comes_first() -> None:
    assert names(find_parts(PARTS, "c1"))[:2] == ["C12", "R1"]
    assert names(find_parts(PARTS, "c")) == ["C2", "C12", "R1", "RV1", "U1"]
    assert names(find_parts(PARTS, "r1"))[0] == "R1"
    assert names(find_parts(PARTS, "DRIVER")) == ["U1"]
    assert find_parts(PARTS, "zz") == []


def test_filters_join() -> None:
    assert names(find_parts(PARTS, net="+3V3")) == ["C2", "U1"]
    assert names(find_parts(PARTS, net="+3V3", kind="u")) == ["U1"]
    assert names(find_parts(PARTS, side="bottom")) == ["C12"]
    assert names(find_parts(PARTS, kind="R")) == ["R1"]  # not RV1
    assert nets_of(PARTS)[0] == "GND"
    assert kind_of("RV12") == "RV"


def test_three_thousand_parts_stay_quick() -> None:
    many = tuple(
        Part(f"R{n}", "R_0402", n % 60, n // 60, nets=(f"N{n % 99}", "GND")) for n in range(3000)
    )
    text = format_placement(many)
    start = time.process_time()
    read = parse_placement(text)
    reading_s = time.process_time() - start
    start = time.process_time()
    for wanted in ("r", "r2", "r29", "r299"):  # as it is typed
        found = find_parts(read, wanted)
    typing_s = (time.process_time() - start) / 4
    assert [p.designator for p in found][:1] == ["R299"]
    assert len(read) == 3000
    assert reading_s < 2.0
    assert typing_s < 0.1
