"""The scene: what is wrong with the invented car, in panel millimetres.

`MARKS` are what a surveyor should find; `DISTRACTORS` are what must not be
taken for it. Shapes are drawn before fraying:

* ``ring``  closed outline, points (u, v);
* ``box``   centre u, v, length, width, corner radius, turn in degrees;
* ``disc``  centre u, v, radius.

``fray`` is (amount mm, cell mm) of the noise added to the signed distance;
the truth is the contour of the sum.
"""

from __future__ import annotations

from typing import Any

SEED = 1968


def _rust(ident: str, panel: str, stage: str, fray: tuple[float, float] = (9, 55), **shape: object) -> dict[str, Any]:
    return {"id": ident, "panel": panel, "kind": "rust", "stage": stage, "fray": fray, **shape}


def _patch(ident: str, panel: str, box: tuple[float, ...], *, fresh: bool) -> dict[str, Any]:
    return {"id": ident, "panel": panel, "kind": "patch", "fresh": fresh, "box": box}


MARKS: list[dict[str, Any]] = [
    # left floor
    _rust(
        "fl-corner-bloom",
        "floor-left",
        "surface",
        ring=[(1090, 300), (1150, 262), (1262, 268), (1296, 330), (1296, 446), (1130, 446), (1075, 380)],
    ),
    _rust(
        "fl-corner-scale",
        "floor-left",
        "scaled",
        (8, 40),
        ring=[(1160, 330), (1230, 305), (1292, 340), (1292, 444), (1150, 444), (1135, 385)],
    ),
    _rust(
        "fl-corner-hole-a",
        "floor-left",
        "holed",
        (4, 16),
        ring=[(1212, 372), (1246, 360), (1262, 384), (1238, 410), (1205, 402)],
    ),
    _rust("fl-corner-hole-b", "floor-left", "holed", (3, 12), disc=(1175, 418, 8)),
    _rust(
        "fl-seat-scale",
        "floor-left",
        "scaled",
        (8, 40),
        ring=[(400, 40), (470, 22), (560, 30), (575, 62), (500, 84), (415, 80)],
    ),
    _rust(
        "fl-heel-bloom",
        "floor-left",
        "surface",
        ring=[(24, 190), (90, 175), (120, 210), (96, 300), (40, 330), (20, 270)],
    ),
    _rust(
        "fl-member-bloom",
        "floor-left",
        "surface",
        (7, 40),
        ring=[(765, 330), (838, 318), (842, 428), (800, 430), (750, 390)],
    ),
    _patch("fl-patch-long", "floor-left", (560, 366, 205, 104, 7, -2.0), fresh=True),
    _patch("fl-patch-mid", "floor-left", (668, 196, 150, 106, 6, 1.5), fresh=False),
    _patch("fl-patch-rear", "floor-left", (196, 318, 165, 148, 8, 2.0), fresh=False),
    _patch("fl-patch-rear-top", "floor-left", (236, 364, 104, 84, 5, -7.0), fresh=True),
    {
        "id": "fl-hidden-front",
        "panel": "floor-left",
        "kind": "hidden",
        "cover": "coat",
        "fray": (9, 60),
        "ring": [(985, 20), (1120, 15), (1150, 60), (1110, 150), (1005, 160), (970, 90)],
    },
    # front and rear crossmember, left
    _rust(
        "cl-scale",
        "crossmember-left-front",
        "scaled",
        (6, 35),
        ring=[(6, 360), (60, 345), (104, 372), (104, 444), (6, 444)],
    ),
    _rust("cl-hole", "crossmember-left-front", "holed", (3, 12), disc=(34, 424, 8)),
    # left sill
    _rust(
        "lu-scale",
        "sill-left-underside",
        "scaled",
        (7, 45),
        ring=[(1010, 10), (1110, 4), (1205, 22), (1205, 100), (1050, 102), (985, 60)],
    ),
    _rust(
        "lu-hole-a",
        "sill-left-underside",
        "holed",
        (4, 16),
        ring=[(1075, 48), (1120, 40), (1136, 60), (1100, 76), (1072, 68)],
    ),
    _rust("lu-hole-b", "sill-left-underside", "holed", (3, 10), disc=(1168, 72, 7)),
    _rust(
        "lu-bloom",
        "sill-left-underside",
        "surface",
        (7, 45),
        ring=[(280, 20), (360, 8), (440, 24), (450, 80), (380, 100), (290, 84)],
    ),
    _patch("lu-patch", "sill-left-underside", (655, 52, 150, 78, 6, 1.0), fresh=False),
    _patch("lu-patch-new", "sill-left-underside", (860, 52, 110, 82, 5, 0.0), fresh=True),
    _rust(
        "li-scale",
        "sill-left-inner",
        "scaled",
        (7, 45),
        ring=[(1010, 70), (1090, 52), (1230, 66), (1250, 128), (1000, 128)],
    ),
    _rust(
        "li-bloom",
        "sill-left-inner",
        "surface",
        (7, 45),
        ring=[(520, 60), (600, 40), (690, 60), (700, 118), (560, 122)],
    ),
    _patch("li-patch", "sill-left-inner", (905, 86, 120, 74, 6, 0.0), fresh=False),
    {
        "id": "lo-filler",
        "panel": "sill-left-outer",
        "kind": "filler",
        "fray": (6, 60),
        "ring": [(300, 38), (380, 24), (500, 30), (560, 52), (545, 96), (450, 116), (350, 108), (295, 78)],
    },
    {
        "id": "lo-filler-small",
        "panel": "sill-left-outer",
        "kind": "filler",
        "fray": (5, 40),
        "ring": [(1030, 54), (1090, 44), (1120, 66), (1095, 92), (1040, 90)],
    },
    _rust(
        "lo-bloom",
        "sill-left-outer",
        "surface",
        (6, 35),
        ring=[(650, 4), (760, 2), (930, 6), (940, 26), (850, 38), (760, 30), (660, 34)],
    ),
    _rust(
        "lo-scale",
        "sill-left-outer",
        "scaled",
        (6, 35),
        ring=[(1230, 4), (1330, 3), (1420, 10), (1415, 50), (1340, 74), (1260, 58)],
    ),
    _rust(
        "lo-hole",
        "sill-left-outer",
        "holed",
        (3, 12),
        ring=[(1322, 22), (1352, 18), (1364, 34), (1340, 46), (1318, 38)],
    ),
    # right floor
    _rust(
        "fr-scale",
        "floor-right",
        "scaled",
        (9, 50),
        ring=[(1040, 330), (1130, 290), (1250, 300), (1294, 350), (1294, 446), (1080, 446), (1020, 400)],
    ),
    _rust(
        "fr-hole-a",
        "floor-right",
        "holed",
        (5, 18),
        ring=[(1130, 372), (1180, 358), (1200, 388), (1165, 412), (1125, 402)],
    ),
    _rust("fr-hole-b", "floor-right", "holed", (3, 12), disc=(1238, 408, 10)),
    _rust(
        "fr-bloom",
        "floor-right",
        "surface",
        ring=[(400, 300), (480, 312), (600, 318), (640, 360), (600, 425), (470, 428), (400, 400)],
    ),
    _rust(
        "fr-tunnel-bloom",
        "floor-right",
        "surface",
        (8, 50),
        ring=[(600, 8), (700, 6), (790, 24), (770, 70), (660, 78), (590, 50)],
    ),
    _patch("fr-patch", "floor-right", (610, 196, 190, 108, 7, -1.0), fresh=False),
    _patch("fr-patch-new", "floor-right", (745, 368, 120, 100, 6, 3.0), fresh=True),
    {
        "id": "fr-hidden-rear",
        "panel": "floor-right",
        "kind": "hidden",
        "cover": "mud",
        "fray": (12, 70),
        "ring": [(30, 250), (130, 225), (250, 260), (280, 360), (250, 440), (40, 444), (20, 340)],
    },
    # right sill
    _rust(
        "ri-scale",
        "sill-right-inner",
        "scaled",
        (7, 45),
        ring=[(1060, 60), (1150, 40), (1290, 56), (1320, 128), (1050, 128)],
    ),
    _patch("ri-patch", "sill-right-inner", (640, 78, 170, 84, 6, 0.0), fresh=False),
    {
        "id": "ru-hidden",
        "panel": "sill-right-underside",
        "kind": "hidden",
        "cover": "coat",
        "fray": (7, 50),
        "ring": [(420, 4), (660, 4), (880, 6), (890, 100), (640, 101), (430, 100)],
    },
    _rust(
        "ru-scale",
        "sill-right-underside",
        "scaled",
        (7, 45),
        ring=[(1040, 10), (1180, 6), (1200, 60), (1150, 100), (1030, 100)],
    ),
    # rear end, left
    _rust(
        "rl-scale",
        "rail-left-rear-underside",
        "scaled",
        (6, 35),
        ring=[(205, 6), (300, 3), (330, 20), (325, 74), (230, 76), (200, 50)],
    ),
    _patch("rl-patch", "rail-left-rear-underside", (490, 40, 130, 66, 5, 0.0), fresh=False),
    _rust(
        "ro-scale",
        "rail-left-rear-outer",
        "scaled",
        (6, 35),
        ring=[(500, 6), (600, 4), (640, 40), (620, 90), (540, 92), (490, 50)],
    ),
    _rust(
        "bf-bloom",
        "boot-floor",
        "surface",
        ring=[(470, 690), (560, 640), (640, 650), (645, 800), (560, 830), (480, 790)],
    ),
    _rust(
        "bf-scale",
        "boot-floor",
        "scaled",
        (8, 45),
        ring=[(60, 640), (150, 610), (190, 680), (170, 790), (80, 820), (40, 720)],
    ),
    _rust("bf-hole", "boot-floor", "holed", (4, 14), disc=(112, 718, 14)),
    # right sill from outside, left wheel arches, left front rail
    {
        "id": "xo-filler",
        "panel": "sill-right-outer",
        "kind": "filler",
        "fray": (6, 60),
        "ring": [(800, 30), (890, 20), (1040, 28), (1130, 44), (1150, 84), (1060, 110), (900, 104), (810, 80)],
    },
    _rust(
        "xo-bloom",
        "sill-right-outer",
        "surface",
        (6, 35),
        ring=[(330, 4), (470, 2), (640, 5), (660, 24), (560, 36), (420, 30), (340, 36)],
    ),
    _rust(
        "xo-scale",
        "sill-right-outer",
        "scaled",
        (6, 35),
        ring=[(40, 4), (150, 3), (225, 8), (230, 46), (150, 70), (70, 60)],
    ),
    _rust(
        "xo-hole", "sill-right-outer", "holed", (3, 12), ring=[(110, 22), (142, 18), (154, 34), (132, 48), (108, 38)]
    ),
    _rust(
        "ar-scale",
        "arch-left-rear",
        "scaled",
        (7, 40),
        ring=[(20, 6), (120, 4), (150, 50), (120, 80), (100, 160), (40, 170), (16, 100)],
    ),
    _rust("ar-hole", "arch-left-rear", "holed", (4, 14), ring=[(52, 50), (84, 40), (96, 62), (74, 86), (50, 76)]),
    _patch("ar-patch", "arch-left-rear", (290, 76, 150, 96, 6, 2.0), fresh=False),
    _rust(
        "fo-scale",
        "rail-left-front-outer",
        "scaled",
        (6, 35),
        ring=[(610, 6), (700, 4), (745, 30), (735, 84), (650, 92), (605, 50)],
    ),
    _rust(
        "af-bloom",
        "arch-left-front",
        "surface",
        (8, 45),
        ring=[(600, 8), (720, 6), (860, 10), (870, 60), (760, 70), (680, 120), (600, 80)],
    ),
    _rust("hb-bloom", "heel-board", "surface", ring=[(170, 1010), (240, 1000), (246, 1120), (190, 1140), (150, 1080)]),
]

DISTRACTORS: list[dict[str, Any]] = [
    {"panel": "floor-left", "what": "oxide", "ring": [(1128, 60), (1235, 52), (1255, 130), (1180, 152), (1122, 128)]},
    {
        "panel": "floor-left",
        "what": "mud",
        "fray": (12, 60),
        "ring": [(330, 395), (380, 380), (430, 400), (440, 445), (320, 445)],
    },
    {"panel": "floor-left", "what": "wax", "at": (124, 247), "reach": 60, "count": 26},
    {"panel": "floor-left", "what": "leak", "ring": [(900, 6), (960, 4), (1010, 14), (980, 60), (930, 110), (900, 60)]},
    {"panel": "floor-right", "what": "oxide", "ring": [(430, 20), (540, 14), (560, 90), (440, 96)]},
    {"panel": "floor-right", "what": "leak", "ring": [(960, 10), (1180, 6), (1230, 60), (1120, 130), (1000, 90)]},
    {"panel": "floor-right", "what": "mud", "fray": (14, 60), "ring": [(860, 380), (930, 360), (960, 445), (850, 445)]},
    {"panel": "sill-left-inner", "what": "wax", "at": (769, 84), "reach": 36, "count": 14},
    {
        "panel": "sill-left-inner",
        "what": "mud",
        "fray": (12, 60),
        "ring": [(1360, 6), (1480, 6), (1480, 120), (1390, 110)],
    },
    {"panel": "sill-right-inner", "what": "wax", "at": (459, 70), "reach": 40, "count": 16},
    {"panel": "sill-left-underside", "what": "oxide", "ring": [(470, 8), (560, 6), (575, 96), (480, 98)]},
    {"panel": "boot-floor", "what": "oxide", "ring": [(300, 420), (430, 400), (450, 520), (310, 530)]},
    {
        "panel": "rail-left-rear-underside",
        "what": "mud",
        "fray": (8, 40),
        "ring": [(410, 10), (425, 6), (428, 70), (405, 60)],
    },
]
