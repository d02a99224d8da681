"""Figures of a repair as self-contained inline SVG.

Numbers come in ready for display, in display units; only the drawing is worked out here.
Matplotlib is imported inside the functions, on first use, because its import is slow.
"""

from wrapcalc.render.figures._along import repair_along
from wrapcalc.render.figures._assessment_curve import assessment_curve
from wrapcalc.render.figures._cluster_map import cluster_map
from wrapcalc.render.figures._cross_section import cross_section
from wrapcalc.render.figures._depth_map import depth_map
from wrapcalc.render.figures._life import life
from wrapcalc.render.figures._margins import margins
from wrapcalc.render.figures._methods import methods
from wrapcalc.render.figures._plot import quantity
from wrapcalc.render.figures._profile import profile
from wrapcalc.render.figures._routes import thickness_routes
from wrapcalc.render.figures._sheet import on_screen
from wrapcalc.render.figures._through_wall import through_wall
from wrapcalc.render.figures._tornado import tolerances
from wrapcalc.render.figures._unwrapped import unwrapped
from wrapcalc.render.figures._use import use_over_layers
from wrapcalc.render.figures._weather import weather

__all__ = [
    "assessment_curve",
    "cluster_map",
    "cross_section",
    "depth_map",
    "life",
    "margins",
    "methods",
    "on_screen",
    "profile",
    "quantity",
    "repair_along",
    "thickness_routes",
    "through_wall",
    "tolerances",
    "unwrapped",
    "use_over_layers",
    "weather",
]
