"""Lays out a new, empty recording: groups, attributes and growing datasets of schema 1."""

from __future__ import annotations

from typing import Any

import h5py
import hdf5plugin
import numpy as np

import thermview
from thermview.frames import Scale, Scene, SourceInfo
from thermview.recording import schema

_TEXT = h5py.string_dtype("utf-8")
_ROWS_PER_CHUNK = 1024


def lay_out(file: Any, info: SourceInfo) -> None:
    """Write everything of a recording but its frames into a new HDF5 file."""
    file.attrs["NX_class"] = "NXroot"
    file.attrs["default"] = "entry"
    file.attrs["creator"] = "thermview"
    file.attrs[schema.VERSION_ATTRIBUTE] = schema.VERSION
    entry = _group(file, schema.ENTRY, "NXentry", default="thermal")
    if info.simulated:
        entry.attrs[schema.SIMULATED] = 1
    entry["title"] = info.title or info.name
    entry["start_time"] = info.start_time.isoformat()
    entry["program_name"] = "thermview"
    entry["program_name"].attrs["version"] = thermview.__version__
    _lay_out_thermal(file, info)
    _lay_out_camera(file, info)
    _lay_out_scene(file, info.scene)


def set_scale(file: Any, scale: Scale, *, holes: bool) -> None:
    """State what the counts mean, for CF readers (attributes) and NeXus readers (scalars).

    With `holes`, count 0 stands for a pixel without a value.
    """
    counts = file[schema.COUNTS]
    counts.attrs[schema.SCALE_FACTOR] = scale.k_per_count
    counts.attrs[schema.ADD_OFFSET] = scale.offset_k
    counts.attrs["units"] = "1" if scale.relative else "K"
    counts.attrs["long_name"] = "brightness" if scale.relative else "apparent temperature"
    if scale.relative:
        counts.attrs[schema.RELATIVE] = 1
    if holes:
        counts.attrs[schema.FILL_VALUE] = np.uint16(0)
    thermal = file[schema.THERMAL]
    thermal["counts_scaling_factor"][...] = scale.k_per_count
    thermal["counts_offset"][...] = scale.offset_k / scale.k_per_count


def growing(group: Any, name: str, dtype: Any, units: str | None = None) -> Any:
    """Make an empty 1-D dataset that grows."""
    dataset = group.create_dataset(name, (0,), dtype, maxshape=(None,), chunks=(_ROWS_PER_CHUNK,))
    if units:
        dataset.attrs["units"] = units
    return dataset


def lay_out_supply(file: Any) -> Any:
    """Make the group of the supply's log, with empty columns, and return it."""
    group = _group(
        file, schema.SUPPLY, "NXdata", signal="voltage", axes="time", time_indices=np.int32(0)
    )
    group.attrs.create("auxiliary_signals", ["current"], dtype=_TEXT)
    growing(group, "time", np.float64, "s")
    growing(group, "voltage", np.float64, "V")
    growing(group, "current", np.float64, "A")
    return group


def lay_out_marks(file: Any) -> Any:
    """Make the group of the marks, with empty columns, and return it."""
    group = _group(file, schema.MARKS, "NXcollection")
    growing(group, "time", np.float64, "s")
    growing(group, "kind", _TEXT)
    growing(group, "text", _TEXT)
    return group


def lay_out_board(file: Any) -> Any:
    """Make the group of the board's texts and return it."""
    return _group(file, schema.BOARD, "NXcollection")


def lay_out_shiny(file: Any, mask: Any, emissivity: Any, how: str) -> None:
    """Write the map of shiny pixels, in place of an earlier one."""
    if schema.SHINY in file:
        del file[schema.SHINY]
    group = _group(file, schema.SHINY, "NXdata", signal="mask")
    group.attrs.create("axes", ["y", "x"], dtype=_TEXT)
    for name, picture in (("mask", mask.astype(np.uint8)), ("emissivity", emissivity)):
        group.create_dataset(name, data=picture, chunks=picture.shape, compression="gzip")
    group["mask"].attrs["long_name"] = "1: mirrors too much to be read"
    for name in ("y", "x"):
        group[name] = file[f"{schema.THERMAL}/{name}"]  # the same axis, under a second name
    group["how"] = how


def _group(file: Any, path: str, nx_class: str, **attributes: Any) -> Any:
    group = file.require_group(path)
    group.attrs["NX_class"] = nx_class
    for name, value in attributes.items():
        group.attrs[name] = value
    return group


def _lay_out_thermal(file: Any, info: SourceInfo) -> None:
    shape = (info.height_px, info.width_px)
    thermal = _group(file, schema.THERMAL, "NXdata", signal="counts")
    thermal.attrs.create("axes", ["time", "y", "x"], dtype=_TEXT)
    counts = thermal.create_dataset(
        "counts",
        (0, *shape),
        np.uint16,
        maxshape=(None, *shape),
        chunks=(1, *shape),
        fletcher32=True,  # a checksum over each stored picture: a flipped bit is found
        **hdf5plugin.Bitshuffle(cname="lz4"),
    )
    growing(thermal, "time", np.float64, "s")
    thermal["time"].attrs["long_name"] = "time since the start"
    for name, length in (("y", shape[0]), ("x", shape[1])):
        thermal[name] = np.arange(length) + 0.5
        thermal[name].attrs["units"] = "pixel"
    for axis, name in enumerate(("time", "y", "x")):
        thermal.attrs[f"{name}_indices"] = np.int32(axis)
        thermal[name].make_scale(name)
        counts.dims[axis].attach_scale(thermal[name])
    thermal["counts_scaling_factor"] = 1.0
    thermal["counts_offset"] = 0.0
    set_scale(file, info.scale, holes=False)


def _lay_out_camera(file: Any, info: SourceInfo) -> None:
    _group(file, "entry/instrument", "NXinstrument")
    camera = _group(file, schema.CAMERA, "NXdetector")
    camera["description"] = info.camera or info.name
    if info.netd_k is not None:
        camera["netd"] = info.netd_k
        camera["netd"].attrs["units"] = "K"
    growing(camera, "shutter", np.bool_)
    growing(camera, "flags", np.uint8)


def _lay_out_scene(file: Any, scene: Scene) -> None:
    group = _group(file, schema.SCENE, "NXcollection")
    rows = (
        ("emissivity", scene.emissivity, "1"),
        ("reflected_temperature", scene.reflected_k, "K"),
        ("reflected_temperature_uncertainty", scene.reflected_u_k, "K"),
        ("air_temperature", scene.air_k, "K"),
        ("window_transmission", scene.window_transmission, "1"),
        ("air_transmission", scene.air_transmission, "1"),
        ("band", np.array(scene.band_um, dtype=np.float64), "um"),
        ("response", None if scene.response is None else np.array(scene.response), "um, 1"),
    )
    for name, value, units in rows:
        if value is not None:
            group[name] = value
            group[name].attrs["units"] = units
