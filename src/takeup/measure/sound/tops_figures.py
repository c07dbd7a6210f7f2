"""The figures of a flat top as the compiled loop writes them down, for who reads them without numba."""

COLUMN, HOP, HEIGHT, LENGTH, RISE, FALL, EAR_IN, EAR_OUT, CORNER = range(9)
FIGURES = 9
SPAN, MOST_A_SPAN = 10, 3  # hops; flat tops written down in them, for each channel and direction
BINS = 5000.0  # of height, for full scale
NOWHERE = 9.0  # a corner's sharpness where the wave has turned back meanwhile
