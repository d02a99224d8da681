"""Figures of a repair as self-contained inline SVG.

Numbers come in ready for display, in display units; only the drawing is worked out here.
Matplotlib is imported inside the functions, on first use, because its import is slow.
"""

from wrapcalc.render.figures._depth_map import depth_map
from wrapcalc.render.figures._margins import margins
from wrapcalc.render.figures._unwrapped import unwrapped

__all__ = ["depth_map", "margins", "unwrapped"]
