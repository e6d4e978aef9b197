"""Rules between the values of `site`, `vehicle` and `pack`, each a trouble with its place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.files.quantity import write_value
from schedgen.files.trouble import Trouble

if TYPE_CHECKING:
    from schedgen.dive.vehicle import Housing, Pack, PackLayout, Site, Vehicle


def water_troubles(site: Site) -> list[Trouble]:
    """Rows from the top down, each deeper than the one before."""
    troubles = []
    for index, (upper, lower) in enumerate(zip(site.water, site.water[1:], strict=False)):
        if lower.depth.low <= upper.depth.high:
            troubles.append(
                Trouble(
                    f"The row at {lower.depth} does not lie below the row before it, at {upper.depth}.",
                    "rows from the surface down, each deeper than the last",
                    "{depth: 200 m, temperature: 9.8 degC, salinity: 35.3}",
                    "Put the rows in order of depth; take out one of two at the same depth.",
                    ("water", index + 1, "depth"),
                )
            )
    return troubles


def vehicle_troubles(vehicle: Vehicle) -> list[Trouble]:
    """Volume or weights in water but not both, and not against one another; a wall that leaves room."""
    troubles = _volume_troubles(vehicle)
    if not troubles:
        troubles = [*_weights_agree(vehicle), *_floats_fit(vehicle)]
    if vehicle.housing is not None and 2 * vehicle.housing.wall.high >= vehicle.housing.outer_diameter.low:
        troubles.append(
            Trouble(
                f"A wall of {vehicle.housing.wall} leaves no room in a diameter of {vehicle.housing.outer_diameter}.",
                "a wall of less than half the outer diameter", "12 mm", "Check both.", ("housing", "wall"),
            )
        )  # fmt: skip
    return troubles


def _volume_troubles(vehicle: Vehicle) -> list[Trouble]:
    expected = "one of volume and weighed_in_water"
    if vehicle.volume is None and vehicle.weighed_in_water is None:
        return [
            Trouble(
                "Neither volume nor weighed_in_water is written.", expected, "volume: 51.5 L ± 0.2 L",
                "Add volume, or weigh it in water with and without ballast.", (), True,
            )
        ]  # fmt: skip
    if vehicle.volume is not None and vehicle.weighed_in_water is not None:
        return [
            Trouble(
                "Both volume and weighed_in_water are written.",
                expected,
                "",
                "Delete one; weights in water are better.",
                ("weighed_in_water",),
                True,
            )
        ]
    weighed = vehicle.weighed_in_water
    if weighed is not None and weighed.with_ballast.high <= weighed.without_ballast.low:
        return [
            Trouble(
                f"With ballast ({weighed.with_ballast}) it weighs no more than without ({weighed.without_ballast}).",
                "with_ballast above without_ballast; negative means that it floats", "with_ballast: 8.3 kg ± 0.3 kg",
                "Check whether the two are exchanged.", ("weighed_in_water", "with_ballast"),
            )
        ]  # fmt: skip
    return []


def pack_troubles(pack: Pack) -> list[Trouble]:
    """Voltage limits in the order low_cut, release_below, shed; a power bank's two keep-alive values together."""
    troubles = []
    cut = pack.protection.low_cut if pack.protection else None
    shed, below = pack.shed, pack.release_below
    if shed is not None and below is not None and below.high >= shed.low:
        troubles.append(
            Trouble(
                f"release_below ({below}) must be lower than shed ({shed}).", f"a voltage below {shed}", "2.95 V",
                "Shed the loads first, release later.", ("release_below",),
            )
        )  # fmt: skip
    for name, limit in (("shed", shed), ("release_below", below)):
        if cut is not None and limit is not None and limit.low <= cut.high:
            troubles.append(
                Trouble(
                    f"{name} ({limit}) must be above protection.low_cut ({cut}): there the pack is already off.",
                    f"a voltage above {cut} for each cell", write_value(cut.high + 0.2, "V"),
                    f"Raise {name}, or check low_cut.", (name,),
                )
            )  # fmt: skip
    supplies = pack.supplies
    if supplies is not None and (supplies.off_below is None) != (supplies.off_after is None):
        there, lacking = ("off_below", "off_after") if supplies.off_after is None else ("off_after", "off_below")
        troubles.append(
            Trouble(
                f"{there} needs {lacking} beside it.", "both or neither", "off_below: 60 mA, off_after: 30 s",
                f"Add {lacking}.", ("supplies", there), True,
            )
        )  # fmt: skip
    return troubles


def layout_troubles(layout: PackLayout | None, housing: Housing | None) -> list[Trouble]:
    """A bore no wider than the inside of the housing that the pack is in."""
    if layout is None or housing is None:
        return []
    inside = housing.outer_diameter.high - 2 * housing.wall.low
    if layout.bore.low <= inside + 1e-9:
        return []
    return [
        Trouble(
            f"A bore of {layout.bore} does not go into the housing, {write_value(inside * 1000, 'mm')} wide inside.",
            f"at most {write_value(inside * 1000, 'mm')}", "", "Check bore, outer_diameter and wall.",
            ("pack", "layout", "bore"),
        )
    ]  # fmt: skip


def _weights_agree(vehicle: Vehicle) -> list[Trouble]:
    """The two weights in water differ by what the ballast weighs there (Archimedes).

    The water's density only to 1 %, as 1000 + 0.78 S kg/m3 (from memory; TEOS-10 gives 998 to 1028 at the surface).
    """
    if vehicle.weighed_in_water is None:
        return []
    weighed, ballast = vehicle.weighed_in_water, vehicle.ballast
    water = 1000 + 0.78 * weighed.salinity.nominal
    least = ballast.mass.low * (1 - water * 1.01 / ballast.density.low)
    most = ballast.mass.high * (1 - water * 0.99 / ballast.density.high)
    low = weighed.with_ballast.low - weighed.without_ballast.high
    high = weighed.with_ballast.high - weighed.without_ballast.low
    slack = 0.01 * most + 0.05
    if low <= most + slack and high >= least - slack:
        return []
    return [
        Trouble(
            f"With and without ballast differ by {write_value((low + high) / 2, 'kg')}, "
            f"but the ballast should weigh {write_value((least + most) / 2, 'kg')} in that water.",
            "weights in water whose difference is the ballast's own",
            "",
            "Weigh again, or correct ballast.mass or density.",
            ("weighed_in_water", "with_ballast"),
        )
    ]


def _floats_fit(vehicle: Vehicle) -> list[Trouble]:
    """The floats are part of the vehicle: together no larger and no heavier than it."""
    troubles = []
    for key, unit, whole in (("volume", "m3", vehicle.volume), ("mass", "kg", vehicle.mass)):
        if whole is None:
            continue
        total = sum(getattr(one, key).low for one in vehicle.floats)
        if total > whole.high:
            troubles.append(
                Trouble(
                    f"The floats alone have a {key} of {write_value(total, unit)}, more than the vehicle's {whole}.",
                    f"floats that are part of the vehicle's {key}", "", f"Give vehicle.{key} with its floats.",
                    ("floats",), True,
                )
            )  # fmt: skip
    return troubles
