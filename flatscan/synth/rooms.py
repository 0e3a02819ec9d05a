"""The invented rooms behind the samples and the demo. All of them are made up; none is a real place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.floor import make_floor
from flatscan.synth.laying import Tiling
from flatscan.synth.outline import l_shape, rectangle
from flatscan.synth.scene import Box, Cylinder, Scene, rug, table
from flatscan.synth.shape import Bay, Tilt
from flatscan.synth.tiled_room import Repair, tiled_scene
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Callable


def kitchen(rng: np.random.Generator) -> Scene:
    """Old tiles, 3.4 × 2.6 m: a dip of 6.5 mm 1.5 m across, and four tiles with lips of 1 to 2.5 mm."""
    floor = make_floor(
        rectangle(3400.0, 2600.0),
        rng=rng,
        tilt=Tilt(1.5, np.deg2rad(200.0)),
        waves_rms_mm=0.5,
        wavelength_mm=2800.0,
        bays=(Bay((2000.0, 1250.0), (750.0, 750.0), 6.5),),
        tiling=Tiling(
            size_mm=(300.0, 300.0),
            width_mm=4.0,
            width_sd_mm=0.7,
            depth_mm=2.2,
            depth_sd_mm=0.4,
            radius_mm=0.6,
            lip_sd_mm=0.15,
            tilt_sd_mm_per_m=0.5,
            bad=((700.0, 700.0, 1.5), (1100.0, 1900.0, 1.0), (2950.0, 600.0, 2.0), (2700.0, 2050.0, -2.5)),
        ),
    )
    return Scene(
        floor, solids=(Box((310.0, 2290.0), (580.0, 600.0), 850.0), Box((3200.0, 2400.0), (300.0, 300.0), 450.0))
    )


def hall(rng: np.random.Generator) -> Scene:
    """Bare screed, 9 × 6 m in an L: one low bay, the rest within 3 mm under 2 m; table, boxes, a column."""
    floor = make_floor(
        l_shape(9000.0, 6000.0, 3500.0, 2200.0),
        rng=rng,
        tilt=Tilt(0.8, np.deg2rad(60.0)),
        waves_rms_mm=1.1,
        wavelength_mm=4500.0,
        wave_spread=1.3,
        bays=(Bay((6700.0, 1700.0), (1000.0, 850.0), 5.0, turn_rad=0.4),),
    )
    solids = (
        *table((2300.0, 4600.0), (1600.0, 800.0), turn_rad=0.15),
        Box((8600.0, 3300.0), (500.0, 400.0), 420.0, turn_rad=0.2),
        Box((8000.0, 3450.0), (400.0, 300.0), 310.0),
        Box((350.0, 2500.0), (600.0, 1200.0), 1900.0),
        Cylinder((4700.0, 2600.0), 150.0, 2600.0),
    )
    return Scene(floor, wall_mm=2600.0, solids=solids)


def bathroom(rng: np.random.Generator) -> Scene:
    """Small tiles, 2.4 × 1.9 m, falling 12 mm/m to a drain corner, with a bath along one wall."""
    floor = make_floor(
        rectangle(2400.0, 1900.0),
        rng=rng,
        tilt=Tilt(12.0, np.deg2rad(20.0)),
        waves_rms_mm=0.6,
        wavelength_mm=1800.0,
        bays=(Bay((1100.0, 750.0), (500.0, 400.0), 3.5),),
        tiling=Tiling(
            size_mm=(200.0, 200.0),
            bond="half",
            width_mm=3.0,
            width_sd_mm=0.3,
            depth_mm=1.2,
            lip_sd_mm=0.2,
            tilt_sd_mm_per_m=1.0,
        ),
    )
    return Scene(floor, solids=(Box((850.0, 1550.0), (1700.0, 700.0), 560.0),))


def living_room(rng: np.random.Generator) -> Scene:
    """Old boards under a screed, 5.5 × 4.2 m, mostly within limits; a rug."""
    floor = make_floor(
        rectangle(5500.0, 4200.0),
        rng=rng,
        tilt=Tilt(1.2, np.deg2rad(-75.0)),
        waves_rms_mm=1.0,
        wavelength_mm=4000.0,
        wave_spread=1.3,
    )
    return Scene(floor, solids=(rug(floor, (2700.0, 2000.0), (2000.0, 1400.0)),))


def hallway(rng: np.random.Generator) -> Scene:
    """A corridor, 4.5 × 1.3 m, bare, with a hump where two screeds meet."""
    floor = make_floor(
        rectangle(4500.0, 1300.0),
        rng=rng,
        tilt=Tilt(2.5, np.deg2rad(170.0)),
        waves_rms_mm=0.6,
        wavelength_mm=2500.0,
        bays=(Bay((2300.0, 650.0), (450.0, 1500.0), -4.0),),
    )
    return Scene(floor)


def tiled_bathroom(rng: np.random.Generator) -> Scene:
    """Old tiles, 2.2 × 1.7 m: joints of 4 mm, some of 6 to 8; three tiles with lips; a repair, two mortar fillings."""
    return tiled_scene(
        rng,
        size_mm=(148.0, 148.0),
        outline_mm=rectangle(2200.0, 1700.0),
        joint_mm=4.0,
        joint_sd_mm=0.5,
        depth_mm=2.3,
        depth_sd_mm=0.3,
        radius_mm=0.5,
        lip_sd_mm=0.15,
        tilt_sd_mm_per_m=1.0,
        tilt=Tilt(3.0, np.deg2rad(130.0)),
        waves_rms_mm=0.4,
        bays=(Bay((1500.0, 1050.0), (450.0, 400.0), 3.0),),
        bad=((560.0, 480.0, 1.6), (1250.0, 1250.0, -1.3), (1800.0, 420.0, 2.0)),
        wide=((900.0, 850.0, 7.5), (1450.0, 330.0, 6.5)),
        missing=((330.0, 1340.0),),
        broken=((1100.0, 640.0),),
        repairs=(Repair(box_mm=(1550.0, 900.0, 2010.0, 1360.0), size_mm=(96.0, 96.0), raised_mm=0.6),),
    )


def dining_room(rng: np.random.Generator) -> Scene:
    """Old tiles, 4.6 × 3.6 m: a dip of 6 mm, waves, three tiles with lips of 1.5 to 2 mm."""
    floor = make_floor(
        rectangle(4600.0, 3600.0),
        rng=rng,
        tilt=Tilt(1.0, np.deg2rad(120.0)),
        waves_rms_mm=0.8,
        wavelength_mm=3500.0,
        bays=(Bay((3100.0, 1400.0), (1000.0, 850.0), 6.0, turn_rad=0.3),),
        tiling=Tiling(
            size_mm=(300.0, 300.0),
            width_mm=3.5,
            width_sd_mm=0.6,
            depth_mm=1.8,
            depth_sd_mm=0.4,
            lip_sd_mm=0.08,
            tilt_sd_mm_per_m=0.3,
            bad=((900.0, 900.0, 1.6), (3900.0, 2900.0, -1.5), (2000.0, 3000.0, 2.0)),
        ),
    )
    return Scene(floor)


def shop_floor(rng: np.random.Generator) -> Scene:
    """Bare concrete, 9.6 × 8.4 m, in waves of 1.5 to 6 m."""
    floor = make_floor(
        rectangle(9600.0, 8400.0),
        rng=rng,
        tilt=Tilt(0.6, np.deg2rad(35.0)),
        waves_rms_mm=2.2,
        wavelength_mm=3000.0,
        wave_spread=2.0,
    )
    return Scene(floor)


def basement(rng: np.random.Generator) -> Scene:
    """Bare concrete, 18 × 13 ft: a hump, a fall of 1/8 inch in 3 ft to one wall."""
    floor = make_floor(
        rectangle(18.0 * MM_PER["ft"], 13.0 * MM_PER["ft"]),
        rng=rng,
        tilt=Tilt(3.5, np.deg2rad(-90.0)),
        waves_rms_mm=1.2,
        wavelength_mm=3000.0,
        bays=(Bay((2000.0, 2500.0), (900.0, 900.0), -6.0),),
    )
    return Scene(floor)


ROOMS: dict[str, Callable[[np.random.Generator], Scene]] = {
    "kitchen": kitchen,
    "hall": hall,
    "bathroom": bathroom,
    "living_room": living_room,
    "hallway": hallway,
    "tiled_bathroom": tiled_bathroom,
    "dining_room": dining_room,
    "shop_floor": shop_floor,
    "basement": basement,
}
