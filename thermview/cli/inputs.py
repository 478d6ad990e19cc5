"""`thermview inputs`: what can be opened; a camera's layout and controls."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from thermview.cli.options import add_format, print_json
from thermview.errors import DeviceError, UsageError

if TYPE_CHECKING:
    from thermview.sources import InputOffer
    from thermview.sources.cameras import FoundCamera

GUESS = "guess"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument(
        "camera", nargs="?", metavar="CAMERA", help="only this one, such as camera:0; its controls"
    )
    parser.add_argument(
        "--layout",
        metavar="NAME",
        help="the stream layout for this camera from now on (a name or a .toml file), kept by its "
        f"serial; {GUESS} forgets it",
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="CONTROL=VALUE",
        help="set one of the camera's controls; may be given again",
    )
    add_format(parser)


def run(options: argparse.Namespace) -> int:
    """List the cameras found and the simulated boards, or one camera with its controls."""
    if options.camera is not None:
        return _one_camera(options)
    if options.layout or options.set:
        raise UsageError("--layout and --set need a camera, such as camera:0")
    from thermview.sources import list_inputs

    offers = [(offer, _layout_words(offer)) for offer in list_inputs()]
    if options.format == "json":
        print_json({"inputs": [_facts(*each) for each in offers]})
        return 0
    if not any(offer.kind == "camera" for offer, _ in offers):
        print("no camera found; plug one in, or see that this user may read video devices")
    for offer, layout in offers:
        _print(offer, layout)
    print(f"{'replay:FILE':26} a recording, played as a live camera at its own times")
    return 0


def _one_camera(options: argparse.Namespace) -> int:
    from thermview.sources import camera_offer, parse_address
    from thermview.sources.camera_opening import controls_of_camera, set_camera_control
    from thermview.sources.cameras import find_camera
    from thermview.sources.catalog import AddressKind

    kind, selector = parse_address(options.camera)
    if kind is not AddressKind.CAMERA:
        raise UsageError(f"{options.camera!r} is no camera; give camera:0, or its serial or name")
    found = find_camera(selector)
    if found.trouble:
        raise DeviceError(f"{options.camera} ({found.name}): {found.trouble}")
    for text in options.set:
        set_camera_control(found, *_setting(text))
    _keep(found, options.layout)
    offer = camera_offer(found)
    layout = _layout_words(offer)
    controls = controls_of_camera(found)
    if options.format == "json":
        named = [asdict(c) | {"kind": c.kind.name.lower()} for c in controls]
        print_json({"inputs": [_facts(offer, layout) | {"controls": named}]})
        return 0
    _print(offer, layout)
    for control in controls:
        print(f"{'':26}   control {control}")
    return 0


def _keep(found: FoundCamera, layout: str | None) -> None:
    from thermview.sources.kept_layouts import forget_layout, keep_layout

    if layout == GUESS:
        forget_layout(found.serial)
    elif layout:
        keep_layout(found.serial, layout)


def _setting(text: str) -> tuple[str, int]:
    name, _, value = text.rpartition("=")
    try:
        return name.strip(), int(value)
    except ValueError as error:
        words = "give CONTROL=NUMBER, as in Brightness=3"
        raise UsageError(f"--set {text!r} is no setting; {words}") from error


def _layout_words(offer: InputOffer) -> str:
    """Return a camera's layout in use and why, or why its stream cannot be looked at now."""
    if offer.kind != "camera":
        return ""
    from thermview.sources import open_source

    try:
        source = open_source(offer.address)
    except DeviceError as error:
        return str(error)
    words = source.info.notes[0]
    source.close()
    return words


def _facts(offer: InputOffer, layout: str) -> dict[str, Any]:
    return asdict(offer) | ({"layout": layout} if layout else {})


def _print(offer: InputOffer, layout: str) -> None:
    print(f"{offer.address:26} {offer.name}")
    for detail in (*offer.details, layout):
        if detail:
            print(f"{'':26}   {detail}")
