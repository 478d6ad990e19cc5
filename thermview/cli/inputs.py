"""`thermview inputs`: what can be opened."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from thermview.cli.options import add_format, print_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_format(parser)


def run(options: argparse.Namespace) -> int:
    """List the cameras found and the simulated boards."""
    from thermview.sources import list_inputs

    offers = list_inputs()
    if options.format == "json":
        print_json({"inputs": [asdict(offer) for offer in offers]})
        return 0
    if not any(offer.kind == "camera" for offer in offers):
        print("no camera found; plug one in, or see that this user may read video devices")
    for offer in offers:
        print(f"{offer.address:26} {offer.name}")
        for detail in offer.details:
            print(f"{'':26}   {detail}")
    return 0
