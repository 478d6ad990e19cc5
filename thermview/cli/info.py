"""`thermview info`: what is in a recording."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from thermview.cli.options import add_format, add_input, open_options, print_json
from thermview.units import celsius_from_kelvin

if TYPE_CHECKING:
    from thermview.frames import Footage


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser)
    add_format(parser)


def run(options: argparse.Namespace) -> int:
    """Print what the recording says of itself."""
    from thermview.sources import open_footage

    footage = open_footage(options.recording, open_options(options))
    try:
        facts = describe(footage)
    finally:
        footage.close()
    if options.format == "json":
        print_json(facts)
        return 0
    for name, value in facts.items():
        if value not in (None, "", [], {}):
            print(f"{name.replace('_', ' ') + ':':22} {_words(value)}")
    return 0


def describe(footage: Footage) -> dict[str, Any]:
    """Return the facts about a recording, names with their units."""
    info, times_s = footage.info, footage.times_s
    count = len(footage)
    seconds = float(times_s[-1] - times_s[0]) if count else 0.0
    supply = footage.supply
    scene = info.scene
    return {
        "title": info.title or info.name,
        "start_time": info.start_time.isoformat(),
        "frames": count,
        "duration_s": round(seconds, 6),
        "mean_rate_hz": round((count - 1) / seconds, 4) if seconds > 0 else None,
        "width_px": info.width_px,
        "height_px": info.height_px,
        "temperatures": not info.scale.relative,
        "k_per_count": info.scale.k_per_count,
        "offset_k": info.scale.offset_k,
        "camera": info.camera,
        "netd_k": info.netd_k,
        "emissivity": scene.emissivity,
        "reflected_c": _celsius(scene.reflected_k),
        "air_c": _celsius(scene.air_k),
        "window_transmission": scene.window_transmission,
        "air_transmission": scene.air_transmission,
        "band_um": list(scene.band_um),
        "response_points": 0 if scene.response is None else len(scene.response[0]),
        "supply_samples": len(supply) if supply is not None else 0,
        "supply_most_v": float(supply.voltage_v.max()) if supply is not None and supply else None,
        "supply_most_a": float(supply.current_a.max()) if supply is not None and supply else None,
        "marks": [
            {"time_s": m.time_s, "kind": m.kind.value, "text": m.text} for m in footage.marks
        ],
        "notes": list(info.notes),
        "simulated": info.simulated,
    }


def _celsius(kelvin: float | None) -> float | None:
    return None if kelvin is None else round(celsius_from_kelvin(kelvin), 6)


def _words(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(_words(item) for item in value)
    if isinstance(value, dict):
        return " ".join(str(item) for item in value.values() if item != "")
    return f"{value:g}" if isinstance(value, float) else str(value)
