"""Published data sets that the statistics are held against: numbers alone, typed beside their sources.

Statuses: "read" is seen in the source or a stored copy of it; "derived" is computed by a route of its own,
to 60 digits or by quadrature; "memory" is recalled.
"""

from __future__ import annotations

import numpy as np


def _numbers(text: str) -> np.ndarray:
    return np.array([float(word) for word in text.split()])


# NIST Statistical Reference Datasets, linear: data and certified values of Norris read as kept among SciPy's tests, the
# data of Pontius and Longley read in a package of NIST tests; their answers computed to 60 digits (derived), equal to the
# certified values in the 15 digits that were seen.
NORRIS_Y = _numbers("""
    0.1 338.8 118.1 888 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 998
    888.8 119.6 0.3 0.6 557.6 339.3 888 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2
""")
NORRIS_X = _numbers("""
    0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777 558.2 0.4 0.6 775.5 666.9 338 447.5 11.6 556 228.1 995.8 887.6
    120.2 0.3 0.3 556.8 339.1 887.2 999 779 11.1 118.3 229.2 669.1 448.9 0.5
""")

#: The load goes from 150000 to 3000000 in steps of 150000, twice.
PONTIUS_Y = _numbers("""
    0.11019 0.21956 0.32949 0.43899 0.54803 0.65694 0.76562 0.87487 0.98292 1.09146 1.20001 1.30822 1.41599 1.52399
    1.63194 1.73947 1.84646 1.95392 2.06128 2.16844 0.11052 0.22018 0.32939 0.43886 0.54798 0.65739 0.76596 0.87474 0.983
    1.0915 1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829
""")
PONTIUS_X = np.tile(150_000.0 * np.arange(1, 21), 2)

#: Sixteen years: employment, then price deflator, gross national product, unemployed, armed forces, population, year.
LONGLEY = _numbers("""
    60323 83 234289 2356 1590 107608 1947
    61122 88.5 259426 2325 1456 108632 1948
    60171 88.2 258054 3682 1616 109773 1949
    61187 89.5 284599 3351 1650 110929 1950
    63221 96.2 328975 2099 3099 112075 1951
    63639 98.1 346999 1932 3594 113270 1952
    64989 99 365385 1870 3547 115094 1953
    63761 100 363112 3578 3350 116219 1954
    66019 101.2 397469 2904 3048 117388 1955
    67857 104.6 419180 2822 2857 118734 1956
    68169 108.4 442769 2936 2798 120445 1957
    66513 110.8 444546 4681 2637 121950 1958
    68655 112.6 482704 3813 2552 123366 1959
    69564 114.2 502601 3931 2514 125368 1960
    69331 115.7 518173 4806 2572 127852 1961
    70551 116.9 554894 4007 2827 130081 1962
""").reshape(16, 7)

# The same collection, nonlinear: data and certified values read in NIST's own files.
MISRA1A_Y = _numbers("""
    10.07 14.73 17.94 23.93 29.61 35.18 40.02 44.82 50.76 55.05 61.01 66.40 75.47 81.78
""")
MISRA1A_X = _numbers("""
    77.6 114.9 141.1 190.8 239.9 289.0 332.8 378.4 434.8 477.3 536.8 593.1 689.1 760.0
""")
CHWIRUT2_Y = _numbers("""
    92.9 57.1 31.05 11.5875 8.025 63.6 21.4 14.25 8.475 63.8 26.8 16.4625 7.125 67.3 41 21.15 8.175 81.5 13.12 59.9 14.62
    32.9 5.44 12.56 5.44 32 13.95 75.8 20 10.42 59.5 21.67 8.55 62 20.2 7.76 3.75 11.81 54.7 23.7 11.55 61.3 17.7 8.74
    59.2 16.3 8.62 81 4.87 14.62 81.7 17.17 81.3 28.9
""")
CHWIRUT2_X = _numbers("""
    0.5 1 1.75 3.75 5.75 0.875 2.25 3.25 5.25 0.75 1.75 2.75 4.75 0.625 1.25 2.25 4.25 0.5 3 0.75 3 1.5 6 3 6 1.5 3 0.5 2
    4 0.75 2 5 0.75 2.25 3.75 5.75 3 0.75 2.5 4 0.75 2.5 4 0.75 2.5 4 0.5 6 3 0.5 2.75 0.5 1.75
""")

#: Six batches, five yields each: O. L. Davies & P. L. Goldsmith (1972), 4th ed., read in a collection of R's data sets.
DYESTUFF = _numbers("""
    1545 1440 1440 1520 1580
    1540 1555 1490 1560 1495
    1595 1550 1605 1510 1560
    1445 1440 1595 1465 1545
    1595 1630 1515 1635 1625
    1520 1455 1450 1480 1445
""").reshape(6, 5)

#: Six batches of five, drawn so that the batches differ less than their scatter explains: G. E. P. Box & G. C. Tiao
#: (1973), read in the same collection.
DYESTUFF2 = _numbers("""
    7.298 3.846 2.434 9.566 7.99
    5.22 6.556 0.608 11.788 -0.892
    0.11 10.386 13.434 5.51 8.166
    2.212 4.852 7.092 9.288 4.98
    0.282 9.014 4.458 9.446 7.198
    1.722 4.782 8.106 0.758 3.758
""").reshape(6, 5)

#: Six rails, three travel times each: J. C. Pinheiro & D. M. Bates (2000), read as quoted.
RAIL = np.array([[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]], float)

#: Eight schools, as rounded in A. Gelman et al., Bayesian Data Analysis: effects and their standard errors (read).
SCHOOLS_Y = np.array([28, 8, -3, 7, -1, 1, 18, 12], float)
SCHOOLS_SD = np.array([15, 10, 16, 11, 9, 11, 10, 18], float)

#: Twenty-one days of a plant: air flow, water temperature, acid, stack loss. K. A. Brownlee (1965), read in R's data sets.
STACKLOSS = _numbers("""
    80 27 89 42
    80 27 88 37
    75 25 90 37
    62 24 87 28
    62 22 87 18
    62 23 87 18
    62 24 93 19
    62 24 93 20
    58 23 87 15
    58 18 80 14
    58 18 89 14
    58 17 88 13
    58 18 82 11
    58 19 93 12
    50 18 89 8
    50 18 86 7
    50 19 72 8
    50 19 79 8
    50 20 80 9
    56 20 82 15
    70 20 91 15
""").reshape(21, 4)

#: Six groups, each read at eight points from -1 to 1: made for a quadrature in four dimensions (derived).
SIX_CURVES = _numbers("""
    1.8192 1.8461 1.9973 2.1013 2.5593 2.7651 3.3401 3.7495
    .5934 .7038 1.1401 1.1878 1.7297 2.0703 2.7641 2.7414
    1.1598 1.1315 1.4427 1.8899 2.0174 2.4477 2.9657 3.4394
    1.5216 1.7688 2.0331 2.2529 2.4535 2.8949 3.2237 3.9444
    1.9978 2.2565 2.3476 2.7676 2.757 3.3425 3.385 3.7574
    .9476 1.1351 1.0458 1.4123 1.7627 2.0946 2.6293 3.0749
""").reshape(6, 8)
