"""The worked example: the valve-driver board of a greenhouse irrigation controller, simulated.

Three stories: it powers up well; one driver package stays cold; its 3.3 V rail is shorted by a
ceramic capacitor and fed from a current-limited supply in steps, while the worker's hand is
mirrored in the crystal's can.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from thermview.board import load_placement
from thermview.errors import UsageError
from thermview.frames import Scale
from thermview.paths import resource
from thermview.simulation.camera import CameraModel
from thermview.simulation.circuit import Circuit, Copper, Track
from thermview.simulation.room import Hand, Room
from thermview.simulation.story import Story, Truth, look
from thermview.simulation.supply import BenchSupply, Draw, FedRail, RunningBoard, Setting

FAULTY_CAPACITOR = "C12"
COLD_PACKAGE = "U6"

_CAMERA = CameraModel(
    width_px=256,
    height_px=192,
    rate_hz=25.0,
    netd_k=0.035,
    scale=Scale(1.0 / 64.0),
    pattern_k=0.04,
    drift_k=0.05,
    shutter_step_k=0.12,
)
_ROOM = Room(ambient_k=297.65, reflected_k=294.15)
_HEALTHY_W = {  # what each part turns into heat, and how long after power it begins, s
    "D1": (0.12, 0.0),
    "U1": (0.45, 0.0),
    "D2": (0.14, 0.0),
    "L1": (0.18, 0.0),
    "U2": (0.34, 0.0),
    "U3": (0.16, 0.2),
    "U4": (0.07, 0.2),
    "U5": (0.46, 2.0),
    "U6": (0.48, 2.0),
    "K1": (0.40, 4.0),
    "Q1": (0.02, 4.0),
    "R4": (0.03, 0.2),
    "D14": (0.02, 0.0),
    "R17": (0.015, 0.0),
}
_WARM_BESIDE = tuple(name for name in _HEALTHY_W if name != COLD_PACKAGE)
_VALVES_W = 18.0  # what the two driver packages pass on to the valves


def circuit() -> Circuit:
    """Return the board, 120 × 80 mm."""
    parts = load_placement(resource("boards", "valve-driver.parts.csv"))
    return Circuit(
        width_mm=120.0,
        height_mm=80.0,
        parts=parts,
        tracks=(Track(((63.0, 62.0), (66.5, 58.0), (66.5, 40.0), (63.3, 37.5)), 0.8),),
        copper_um=10.0,
        copper=(
            Copper(0.0, 0.0, 120.0, 34.0, 16.0),  # ground under the drivers
            Copper(14.0, 54.0, 40.0, 24.0, 32.0),  # around the step-down regulator
            Copper(54.0, 61.0, 20.0, 16.0, 40.0),  # the linear regulator's heat spreader
            Copper(44.0, 36.0, 24.0, 22.0, 14.0),  # under the controller
            Copper(106.0, 0.0, 3.0, 80.0, 2.0),  # the gap that keeps the relays' outputs apart
        ),
        landmarks_mm=((3.5, 3.5), (116.5, 3.5), (116.5, 76.5), (3.5, 76.5), (60.0, 32.0)),
    )


def short() -> Story:
    """Return the story of the shorted 3.3 V rail."""
    board = circuit()
    programme = FedRail(
        BenchSupply(
            (
                Setting(4.0, 1.0, 0.1),
                Setting(12.0, 1.0, 0.2),
                Setting(20.0, 1.0, 0.3),
                Setting(34.0, 0.0, 0.0),
            )
        ),
        short=board.number(FAULTY_CAPACITOR),
        short_ohm=0.55,
        lead_ohm=0.15,
        tracks=((len(board.parts), 0.05),),
    )
    hand = Hand(
        path=(
            (8.0, 260.0, 30.0),
            (10.5, 105.0, 50.0),
            (14.0, 90.0, 46.0),
            (16.0, 260.0, 30.0),
            (23.0, 260.0, 60.0),
            (25.0, 110.0, 52.0),
            (28.0, 85.0, 44.0),
            (30.0, 260.0, 60.0),
        )
    )
    return Story(
        name="short",
        title="Valve driver, 3.3 V rail shorted, fed in steps (simulated)",
        circuit=board,
        camera=replace(_CAMERA, shutter_times_s=(18.0,)),
        programme=programme,
        to_pixel=look(board, _CAMERA, turn_deg=1.1, tilt=(0.012, -0.02), shift_px=(1.5, -2.0)),
        room=replace(_ROOM, hand=hand),
        length_s=40.0,
        truth=Truth(FAULTY_CAPACITOR, power_on_s=4.0, power_w=0.3**2 * 0.55),
    )


def good() -> Story:
    """Return the story of a good board powering up."""
    board = circuit()
    return Story(
        name="good",
        title="Valve driver, good board powering up (simulated)",
        circuit=board,
        camera=replace(_CAMERA, shutter_times_s=(21.0,)),
        programme=_powered(board, {}),
        to_pixel=look(board, _CAMERA, turn_deg=-0.6, tilt=(-0.01, 0.015), shift_px=(-1.0, 1.5)),
        room=_ROOM,
        length_s=30.0,
        truth=Truth(power_on_s=4.0, meant_warm=tuple(_HEALTHY_W)),
    )


def cold_drivers() -> Story:
    """Return the story of the board whose second driver package stays cold."""
    board = circuit()
    # boards of one model differ a little, part by part
    spread = {"U1": 1.05, "U2": 0.96, "U3": 1.04, "U5": 0.94, "K1": 1.03, "L1": 0.95}
    return Story(
        name="cold-drivers",
        title="Valve driver, a driver package stays cold (simulated)",
        circuit=board,
        camera=replace(_CAMERA, shutter_times_s=(17.0,)),
        programme=_powered(board, spread | {COLD_PACKAGE: 0.0}),
        to_pixel=look(board, _CAMERA, turn_deg=1.8, tilt=(0.02, 0.01), shift_px=(2.0, 2.5)),
        room=Room(ambient_k=297.95, reflected_k=294.25),
        length_s=30.0,
        truth=Truth(COLD_PACKAGE, 4.0, 0.0, meant_warm=_WARM_BESIDE),
    )


def _powered(board: Circuit, factors: dict[str, float]) -> RunningBoard:
    """Return the board powered at its 24 V input, some parts' heat changed by a factor."""
    draws = tuple(
        Draw(board.number(name), watts * factors.get(name, 1.0), from_s)
        for name, (watts, from_s) in _HEALTHY_W.items()
    )
    valves_w = _VALVES_W * (factors.get("U5", 1.0) + factors.get("U6", 1.0)) / 2.0
    return RunningBoard(BenchSupply((Setting(4.0, 24.0, 1.5),)), draws, valves_w)


STORIES: dict[str, Callable[[], Story]] = {
    "short": short,
    "good": good,
    "cold-drivers": cold_drivers,
}
"""The worked example's stories by the names that addresses give them."""


def story(name: str) -> Story:
    """Return a story of the worked example.

    Raises
    ------
    UsageError
        There is none of that name.
    """
    try:
        return STORIES[name]()
    except KeyError:
        raise UsageError(
            f"no simulated story is called {name!r}; there are {', '.join(STORIES)}"
        ) from None
