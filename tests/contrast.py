"""How well two colours stand apart, as the guidelines measure it.

References
----------
WCAG 2.1, definitions of relative luminance (sRGB) and of contrast ratio; success criteria 1.4.3 (text,
4.5) and 1.4.11 (graphics, 3).
"""

from matplotlib.colors import to_rgb


def relative_luminance(colour):
    """Return the relative luminance of a colour, 0 for black to 1 for white."""
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4
                        for part in to_rgb(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Return the contrast ratio of two colours, 1 for equal ones to 21 for black on white."""
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
