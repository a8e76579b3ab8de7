"""The rounded model's own defaults, as worked out with the fit."""

# The rounded model's own defaults by height (m), as worked out with the fit:
# stride, trot pole, placing trot, placing canter, bounce trot, bounce canter,
# trot-in one stride gaps 1 to 3 (uncapped), schooling 1 to 3 strides,
# continental 1 to 3 strides.
DEFAULTS = {
    1.17: (2.59, 0.94, 1.90, 2.16, 2.24, 2.34, 4.84, 5.54, 5.97, 4.85, 7.39, 10.23, 5.35, 7.64, 10.48),
    1.28: (2.80, 1.02, 2.07, 2.37, 2.49, 2.59, 5.03, 5.77, 6.20, 5.32, 8.06, 11.11, 5.89, 8.40, 11.46),
    1.38: (2.98, 1.10, 2.24, 2.55, 2.71, 2.81, 5.21, 5.98, 6.41, 5.74, 8.67, 11.90, 6.38, 9.09, 12.35),
    1.48: (3.17, 1.18, 2.40, 2.74, 2.90, 3.03, 5.39, 6.19, 6.62, 6.17, 9.28, 12.70, 6.87, 9.78, 13.24),
    1.57: (3.33, 1.26, 2.54, 2.90, 2.98, 3.22, 5.56, 6.38, 6.81, 6.55, 9.83, 13.41, 7.31, 10.40, 14.04),
    1.65: (3.48, 1.32, 2.67, 3.05, 3.05, 3.40, 5.70, 6.55, 6.98, 6.89, 10.32, 14.05, 7.70, 10.95, 14.75),
}  # fmt: skip
