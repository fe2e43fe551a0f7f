"""What rounding an edge makes of the wave that it sends out: the canonical right-angled edge with an arc of radius R.

A sharp edge's wave, seen at `angle` theta from the face along which the sound comes, has the weight (where the way
over the edge is shortest; `enclosures.edges` has the rest)

    beta = sqrt(3)/(cos(2 theta/3) + 1/2)

infinite at theta = pi, in the plane of the face. A rounded edge's is beta + change, and the change is finite everywhere
and depends on kappa = k R and theta alone, k across the edge, as long as source and listener are well away from it:

    change = beta (e^{-j kappa tau} - 1) + e^{-j kappa tau} Q(kappa, theta)

tau R is how much longer the way over the arc is than over the sharp edge's corner: in front of the face the way over
the place where the arc begins, tau = -1 - cos(theta); behind it along the arc to where a straight line leads on,
tau = -1 + s - sin(s) + cos(s) with s = theta - pi (rays that creep along a curved surface: J. B. Keller, J. Opt. Soc.
Am. 52 (1962), 116). Q is our own calculation: the rigid right-angled edge with an arc in two dimensions, solved by
boundary elements inside a circle about its corner and, outside, by the sharp wedge's own functions, J and H of orders
2n/3; two sizes of element, carried on to none, 0.002 apart at most. The tests have it and hold this table to it: within
0.05 between the nodes, 0.01 in the mean, where |beta| is from 1.15 to infinity. At `TOP` a rounded edge's wave has
fallen to 0.06 (along the face) to 0.13 (straight ahead) of the sharp one's; above, Q is held.
"""

from __future__ import annotations

import math

import numpy as np

from enclosures.arrays import ComplexArray, RealArray
from enclosures.interpolation import chebyshev

NU = 2.0 / 3.0  # pi over the exterior wedge angle
TOP = 12.0  # kappa

# Q in thousandths. Rows: kappa = TOP x^2, columns: theta; x (from the second node on) and theta at the nodes below.
REAL = """
0 0 0 0 0 0 0 0 0 0 0 0 0 0 0
-4 -4 -4 -4 -3 -1 0 1 1 1 2 2 3 3 3
-48 -48 -46 -41 -31 -18 -5 4 9 10 12 18 23 25 26
-251 -250 -244 -223 -176 -110 -45 0 23 30 40 62 86 98 99
-696 -696 -689 -661 -579 -418 -218 -65 12 34 65 133 205 242 246
-996 -996 -1005 -1034 -1062 -969 -655 -306 -109 -52 25 188 356 447 456
-1055 -1056 -1066 -1106 -1191 -1304 -1197 -750 -392 -280 -124 203 530 704 723
-1108 -1109 -1127 -1198 -1354 -1482 -1471 -1184 -759 -598 -355 185 722 1001 1031
-1134 -1135 -1155 -1232 -1397 -1665 -1723 -1443 -1074 -902 -611 144 918 1308 1349
-1143 -1144 -1164 -1242 -1431 -1773 -1989 -1641 -1276 -1120 -826 94 1102 1592 1644
-1145 -1147 -1167 -1248 -1463 -1830 -2133 -1880 -1406 -1251 -972 50 1264 1835 1894
-1147 -1149 -1169 -1255 -1475 -1891 -2287 -2074 -1525 -1342 -1058 17 1395 2025 2090
-1151 -1153 -1174 -1261 -1477 -1904 -2372 -2190 -1630 -1417 -1110 0 1493 2160 2229
-1151 -1153 -1174 -1261 -1482 -1919 -2412 -2257 -1700 -1468 -1140 -9 1551 2240 2310
-1152 -1153 -1174 -1261 -1485 -1927 -2427 -2279 -1724 -1486 -1150 -10 1571 2266 2337
"""
IMAGINARY = """
-3 -3 -3 -3 -3 -2 -1 -1 0 0 0 1 2 2 2
-46 -46 -45 -44 -39 -32 -23 -13 -6 -3 2 12 23 27 28
-199 -199 -197 -191 -176 -149 -111 -69 -36 -23 -3 45 92 113 115
-466 -466 -466 -464 -452 -409 -327 -222 -133 -98 -43 89 216 275 281
-593 -594 -606 -646 -717 -762 -694 -521 -347 -277 -162 110 370 488 500
-378 -379 -395 -462 -631 -901 -1061 -927 -677 -562 -371 94 528 719 738
-286 -287 -299 -347 -464 -720 -1128 -1244 -1009 -864 -603 68 690 949 975
-186 -186 -196 -239 -384 -712 -1069 -1348 -1224 -1079 -784 59 841 1145 1175
-139 -140 -149 -189 -314 -585 -1148 -1393 -1312 -1177 -873 75 970 1285 1316
-109 -109 -117 -150 -240 -542 -1105 -1525 -1364 -1209 -885 119 1072 1371 1399
-90 -90 -96 -120 -199 -466 -1091 -1644 -1451 -1245 -864 184 1147 1413 1436
-75 -75 -80 -99 -180 -431 -1079 -1689 -1555 -1305 -845 256 1200 1427 1444
-66 -67 -71 -92 -158 -395 -1044 -1717 -1633 -1363 -838 320 1235 1427 1441
-63 -63 -67 -84 -155 -386 -1033 -1743 -1676 -1400 -839 363 1255 1423 1433
-62 -63 -66 -83 -151 -381 -1032 -1753 -1689 -1413 -840 378 1262 1421 1430
"""


ROOTS = chebyshev(0.0, 1.0, 16)  # x, the root of kappa/TOP
IN_SIGHT, BEHIND = chebyshev(0.0, math.pi, 10), chebyshev(math.pi, 1.5 * math.pi, 6)
TABLE = np.zeros((16, 15), dtype=np.complex128)
TABLE[1:] = 1e-3 * (np.array(REAL.split(), dtype=float) + 1j * np.array(IMAGINARY.split(), dtype=float)).reshape(15, 15)


def change(kappa: RealArray, angle: RealArray) -> ComplexArray:
    """What a rounding adds to the weight beta of an edge: (F, ...) for kappa (F, ...) and angles (...,) in rad.

    0 at kappa = 0, and -beta far above it in sight of the face. `angle` is from 0 to 3 pi/2. Where kappa is the same
    for all angles it may be (F, 1, ...), which takes a tenth of the time.
    """
    turn = np.exp(-1j * kappa * _detour(angle))
    within = np.minimum(kappa / TOP, 1.0)
    lit = IN_SIGHT.matrix(np.minimum(angle, math.pi)) @ TABLE[:, :10].T  # (..., roots)
    dark = BEHIND.matrix(np.maximum(angle, math.pi)) @ TABLE[:, 9:].T
    smooth = np.where((angle <= math.pi)[..., None], lit, dark)
    roots = ROOTS.matrix(np.sqrt(within))  # (F, ..., roots)
    if within.size == len(within):
        q = (roots.reshape(len(within), -1) @ smooth.reshape(-1, smooth.shape[-1]).T).reshape(turn.shape)
    else:
        q = np.sum(roots * smooth, axis=-1)
    return np.asarray((turn - 1.0) / _inverse_beta(angle) + turn * q)


def share(kappa: RealArray, angle: RealArray) -> ComplexArray:
    """What a rounding leaves of an edge's wave, 1 + change/beta, shapes as `change`: 1 at kappa = 0 and at pi."""
    return 1.0 + change(kappa, angle) * _inverse_beta(angle)


def _inverse_beta(angle: RealArray) -> RealArray:
    gap = np.cos(NU * angle) + 0.5
    return np.where(np.abs(gap) < 1e-9, 1e-9, gap) / math.sqrt(3.0)  # at pi, where change is finite


def _detour(angle: RealArray) -> RealArray:
    """tau."""
    past = angle - math.pi
    return np.where(past < 0.0, -1.0 - np.cos(angle), past - 1.0 - np.sin(past) + np.cos(past))
