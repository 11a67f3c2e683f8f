"""The mathematics of time: zones, runs of intervals, overlaps. Pure functions of arrays, no input or output."""
