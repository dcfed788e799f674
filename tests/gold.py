"""
Numbers from outside, each with its source and how far to trust it. Nothing here is made by our own code.
"""

# davengrace.com/dave/cspace, by way of colorspacious' gold_values.py. The last is on the straight part of the curve.
SRGB1_LINEAR = [
    ((0.1, 0.2, 0.3), (0.010022825574869, 0.0331047665708851, 0.0732389558784054)),
    ((0.9, 0.8, 0.7), (0.787412289395617, 0.603827338855338, 0.447988412441883)),
    ((0.04, 0.02, 0.01), (0.00309597523219814, 0.00154798761609907, 0.000773993808049536)),
]
SRGB1_LINEAR_ATOL = 1e-12

# Bruce Lindbloom's calculator (sRGB, D65), as typed in scikit-image's test_rgb2lab_brucelindbloom.
# It weighs luminance by 0.2126729, 0.7151522, 0.0721750; we use IEC's four decimals, which moves L* by up to 0.008.
SRGB1_LAB = [
    ((1, 1, 1), (100, 0, 0)),
    ((1, 1, 0), (97.1393, -21.5537, 94.4780)),
    ((0, 1, 1), (91.1132, -48.0875, -14.1312)),
    ((0, 1, 0), (87.7347, -86.1827, 83.1793)),
    ((1, 0, 1), (60.3242, 98.2343, -60.8249)),
    ((1, 0, 0), (53.2408, 80.0925, 67.2032)),
    ((0, 0, 1), (32.2970, 79.1875, -107.8602)),
    ((0, 0, 0), (0, 0, 0)),
]
SRGB1_LAB_ATOL = (0.01, 0.03, 0.03)

# davengrace.com/dave/cspace, by way of colorspacious' gold_values.py: it uses IEC's four decimals as we do.
SRGB1_LIGHTNESS_EXACT = ((0.2, 0.4, 0.6), 42.0099857768665)

# Bruce Lindbloom's calculator (D65), by way of colorspacious' gold_values.py: XYZ in per cent, L*a*b*.
# The last lies below the knee. Its white is 0.95047, 1, 1.08883; ours follows from x, y and moves b* by up to 0.01.
XYZ100_LAB = [
    ((10, 20, 30), (51.8372, -56.3591, -13.1812)),
    ((80, 90, 10), (95.9968, -10.6593, 102.8625)),
    ((0.5, 0.6, 0.4), (5.4198, -2.8790, 3.6230)),
]
XYZ100_LAB_ATOL = 0.02
# The same calculator: lightness, chroma, hue angle.
XYZ100_LCH = [
    ((10, 20, 30), (51.8372, 57.8800, 193.1636)),
    ((80, 90, 10), (95.9968, 103.4134, 95.9163)),
]

# Rows of the luminance of red, green and blue, as colour-science prints them: Display P3 and Adobe RGB (1998).
DISPLAY_P3_LUMINANCE = (0.22897456, 0.69173852, 0.07928691)
ADOBE_RGB_LUMINANCE = (0.29734, 0.62736, 0.07529)

# The polynomial of ASTM D1535 as colour-science reckons it: Munsell value, luminance in per cent.
MUNSELL_LUMINANCE = [(1, 1.179925), (3, 6.391178), (5, 19.271844), (7, 41.985394), (9, 76.695586), (10, 100.0)]
MUNSELL_LUMINANCE_ATOL = 1e-6
# colour-science's doctest of munsell_value_ASTMD1535, by a table inverted by interpolation, hence the tolerance.
LUMINANCE_MUNSELL = (12.23634268, 4.0824437)
LUMINANCE_MUNSELL_ATOL = 1e-6

# Worked example of Appendix B of AS 1428.1 as access consultants print it: against a light reflectance value of 20,
# 30 % needs "7 or 41".
BOWMAN_SAPOLINSKI_30 = (20, (7, 41))

# W3C, Understanding WCAG 2.x: black on white is 21:1; #767676 is the lightest grey to reach 4.5 on white.
W3C_BLACK_ON_WHITE = 21
W3C_LIGHTEST_GREY_AT_4_5 = 0x76

# Printed in the documentation of an independent colour library: L*EAL of L* 55.63, C* 66.77, h 285.23.
APPARENT_LIGHTNESS_HIGH = ((55.63, 66.77, 285.23), 73.23)
APPARENT_LIGHTNESS_HIGH_ATOL = 0.005  # two decimals are printed

# Natural breaks: values, groups, lightest value of each group.
# The README of jenkspy.
COUNTED = (tuple(range(12)), 4, (2, 5, 8, 11))
# A set of twelve often used to show the method; jenkspy's answer and its goodness of fit.
TWELVE = ((1.3, 7.1, 7.3, 2.3, 3.9, 4.1, 7.8, 1.2, 4.3, 7.3, 5.0, 4.3), 3, (2.3, 5.0, 7.8))
TWELVE_FIT = 0.971670
# Lightness of 23 imagined pieces; jenkspy, k-means with 50 starts and multi-Otsu agree.
PILE = ((22, 25, 27, 31, 33, 38, 41, 44, 47, 49, 52, 55, 57, 61, 64, 66, 72, 75, 79, 83, 86, 88, 91), 3, (41, 66, 91))
PILE_FIT = 0.89671
PILE_SIZES = (7, 9, 7)
# Employment density of 58 Californian counties: the example of mapclassify (BSD-3-Clause, its authors and the PySAL
# developers), and the bins and counts its documentation prints for FisherJenks, k = 5.
COUNTIES = (
    (
        329.92, 0.42, 5.9, 14.03, 2.78, 1.34, 181.27, 1.65, 10.03, 16.7, 1.32, 3.99, 3.16, 0.22, 8.7, 6.56, 3.27,
        0.33, 370.5, 4.51, 75.29, 0.99, 2.74, 8.68, 0.14, 0.92, 12.63, 28.7, 12.02, 722.85, 36.68, 0.74, 29.82,
        192.05, 3.38, 11.15, 110.74, 4111.45, 49.47, 10.33, 317.11, 20.47, 264.93, 66.26, 5.39, 0.13, 0.61, 50.65,
        40.48, 36.67, 13.09, 1.81, 0.2, 7.6, 2.51, 57.26, 24.32, 6.97,
    ),
    5,
    (75.29, 192.05, 370.5, 722.85, 4111.45),
)
COUNTIES_SIZES = (49, 3, 4, 1, 1)

# Goodness of variance fit that uniform random piles exceed once in twenty, natural breaks, three groups:
# jenkspy on simulated piles; count of pieces, fit.
EVENLY_SPREAD_LIMIT = [(12, 0.967), (20, 0.948), (30, 0.934), (60, 0.921)]
EVENLY_SPREAD_LIMIT_ATOL = 0.004  # three decimals are given, and each side is a quantile of some thousand piles

# G. Sharma, W. Wu and E. N. Dalal, The CIEDE2000 color-difference formula: implementation notes, supplementary test
# data, and mathematical observations, Color Research and Application 30(1), 21-30, 2005: Table 1.
CIEDE2000 = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, 3.1571, -77.2803), (50, 0, -82.7485), 2.8615),
    ((50, 2.8361, -74.02), (50, 0, -82.7485), 3.4412),
    ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    ((50, -1.1848, -84.8006), (50, 0, -82.7485), 1.0000),
    ((50, -0.9009, -85.5211), (50, 0, -82.7485), 1.0000),
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, -1, 2), (50, 0, 0), 2.3669),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.001), 7.1792),
    ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    ((50, 2.49, -0.001), (50, -2.49, 0.0012), 7.2195),
    ((50, -0.001, 2.49), (50, 0.0009, -2.49), 4.8045),
    ((50, -0.001, 2.49), (50, 0.001, -2.49), 4.8045),
    ((50, -0.001, 2.49), (50, 0.0011, -2.49), 4.7461),
    ((50, 2.5, 0), (50, 0, -2.5), 4.3065),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((50, 2.5, 0), (61, -5, 29), 22.8977),
    ((50, 2.5, 0), (56, -27, -3), 31.9030),
    ((50, 2.5, 0), (58, 24, 15), 19.4535),
    ((50, 2.5, 0), (50, 3.1736, 0.5854), 1.0000),
    ((50, 2.5, 0), (50, 3.2972, 0), 1.0000),
    ((50, 2.5, 0), (50, 1.8634, 0.5757), 1.0000),
    ((50, 2.5, 0), (50, 3.2592, 0.335), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.248, -4.962), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    ((36.4612, 47.858, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.441), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
]
CIEDE2000_ATOL = 0.5e-4  # four decimals are printed

# Seen from a distance: shared/reference/checks.json, topic 5, which recomputes every number without our code, and the
# tables of SCIENCE.md, par. 5 beside it. A rim of 1/16 in is 1.5875 mm wide.
SIXTEENTH_MM = 25.4 / 16
RIM_ARCMIN = {1: 5.4574, 2: 2.7287, 3: 1.8191, 5: 1.0915}  # 5.va: metres, minutes of arc
RIM_ARCMIN_ATOL = 1e-4
RIM_CYCLES_PER_DEGREE = {1: 5.497, 2: 10.994, 3: 16.491, 5: 27.486}  # 5.f: stripes as wide as the rim
RIM_CYCLES_PER_DEGREE_ATOL = 1e-3
# 5.mtf.lum, 5.mtf.rg, 5.mtf.by: Fourier transforms of the kernels of S-CIELAB, at these cycles per degree.
KERNEL_FREQUENCIES = (1, 4, 10.9942, 16.4913)
KERNEL_MTF = {
    "luminance": (1.0899, 0.8765, 0.3422, 0.0892),
    "red-green": (0.6403, 0.4721, 0.0819, 0.0066),
    "blue-yellow": (0.6493, 0.3507, 0.0149, 0.0002),
}
KERNEL_MTF_ATOL = 1e-4
# Par. 5: what a 2-D convolution of sine stripes with the two narrow Gaussians, as published, leaves of them.
NARROW_MTF = {2: 1.02383, 5: 0.80441, 10: 0.41203, 15: 0.13546}
NARROW_MTF_ATOL = 1e-5
LINE_RESIDUAL = {1: 1.0114, 2: 0.7389, 3: 0.5404, 5: 0.3411, 8: 0.2170}  # 5.line: metres, whole luminance kernel
LINE_RESIDUAL_ATOL = 1e-4
# Par. 5: the same of a line in red-green and blue-yellow, to two decimals.
LINE_RESIDUAL_COLOUR = {1: (0.58, 0.49), 2: (0.37, 0.28), 3: (0.26, 0.19), 5: (0.16, 0.12), 8: (0.10, 0.07)}
LINE_RESIDUAL_COLOUR_ATOL = 0.005
# Par. 5: L* of left, rim, right; L* that the rim's line stands clear of the nearer neighbour at 1, 2, 3 and 5 m.
THREE_BANDS_METRES = (1, 2, 3, 5)
THREE_BANDS = {
    (30, 90, 70): (17.7, 11.6, 6.9, 2.3),
    (30, 90, 35): (51.9, 42.9, 35.0, 25.3),
    (50, 90, 50): (37.4, 30.0, 23.8, 16.6),
    (50, 20, 50): (24.9, 15.6, 10.5, 6.2),
    (70, 30, 75): (32.5, 19.2, 12.1, 6.2),
    (30, 70, 30): (37.7, 30.9, 25.0, 18.0),
    (70, 30, 70): (33.1, 20.6, 13.9, 8.2),
}
# One decimal is printed, of a convolution in steps: all 28 agree with a rim 0.1 % wider, and with ours 27 do within
# 0.05; the other, 30/70/30 at 2 m, is 30.849 by the closed form.
THREE_BANDS_ATOL = 0.052
