"""Invented double-wishbone cars for the tests, unlike one another on purpose, in the form of tests.cars.

Millimetres, left-hand car axes (x forward, y left, z up), at the measured ride height.
"""

from __future__ import annotations

from tests.cars import Car

ROADSTER = Car(
    name="Harrowlea (invented)",
    about="roadster with unequal, nearly parallel arms, rack behind the axle",
    points={
        "arm_front": (132.0, 348.0, 172.0),
        "arm_rear": (-148.0, 344.0, 168.0),
        "ball_joint": (6.0, 676.0, 160.0),
        "upper_front": (92.0, 428.0, 462.0),
        "upper_rear": (-104.0, 424.0, 450.0),
        "upper_ball_joint": (-24.0, 640.0, 474.0),
        "tie_rod_outer": (-112.0, 660.0, 196.0),
        "tie_rod_inner": (-118.0, 342.0, 206.0),
        "hub_face": (0.0, 722.0, 292.0),
    },
    toe=0.05,
    camber=-0.8,
    inset=-20.0,
    loaded_radius=292.0,
    wheelbase=2310.0,
    rack_travel=62.0,
)

SINGLE_SEATER = Car(
    name="Quillon (invented)",
    about="long thin arms, rack ahead of the axle, upper arm raked in side view",
    points={
        "arm_front": (190.0, 210.0, 142.0),
        "arm_rear": (-160.0, 205.0, 134.0),
        "ball_joint": (8.0, 640.0, 128.0),
        "upper_front": (150.0, 262.0, 352.0),
        "upper_rear": (-170.0, 258.0, 318.0),
        "upper_ball_joint": (-14.0, 612.0, 372.0),
        "tie_rod_outer": (94.0, 626.0, 152.0),
        "tie_rod_inner": (96.0, 240.0, 162.0),
        "hub_face": (0.0, 668.0, 254.0),
    },
    toe=-0.1,
    camber=-2.6,
    inset=12.0,
    loaded_radius=254.0,
    wheelbase=2560.0,
    rack_travel=44.0,
    cg_height=330.0,
    rack_ahead=True,
)

TALL = Car(
    name="Ostermere (invented)",
    about="upper joint above the tyre, short steep upper arm, wheel far outboard, rack ahead of the axle",
    points={
        "arm_front": (96.0, 372.0, 228.0),
        "arm_rear": (-252.0, 386.0, 216.0),
        "ball_joint": (14.0, 752.0, 198.0),
        "upper_front": (58.0, 520.0, 690.0),
        "upper_rear": (-130.0, 532.0, 664.0),
        "upper_ball_joint": (-52.0, 706.0, 704.0),
        "tie_rod_outer": (128.0, 748.0, 232.0),
        "tie_rod_inner": (136.0, 372.0, 254.0),
        "hub_face": (0.0, 806.0, 330.0),
    },
    toe=0.0,
    camber=-0.3,
    inset=-34.0,
    loaded_radius=330.0,
    wheelbase=2840.0,
    rack_travel=72.0,
    cg_height=600.0,
    rack_ahead=True,
)

SKEWED = Car(
    name="Fennholt (invented)",
    about="both arms' pivots strongly skewed in plan and side view, much caster, rack behind the axle",
    points={
        "arm_front": (168.0, 312.0, 214.0),
        "arm_rear": (-176.0, 398.0, 158.0),
        "ball_joint": (22.0, 708.0, 166.0),
        "upper_front": (104.0, 452.0, 470.0),
        "upper_rear": (-140.0, 402.0, 516.0),
        "upper_ball_joint": (-58.0, 662.0, 486.0),
        "tie_rod_outer": (-96.0, 690.0, 214.0),
        "tie_rod_inner": (-120.0, 348.0, 216.0),
        "hub_face": (0.0, 748.0, 306.0),
    },
    toe=0.12,
    camber=-1.4,
    inset=-8.0,
    loaded_radius=306.0,
    wheelbase=2520.0,
    rack_travel=58.0,
)

WISHBONES = (ROADSTER, SINGLE_SEATER, TALL, SKEWED)
