"""Pictures of offcuts, laws and lines. A picture is made from results; it fits nothing and shows nothing.

``from bendcal import figures`` loads matplotlib; ``import bendcal`` alone does not.
"""

from bendcal.figures import angle_ways, at_the_bender, bench, bent_line, comparison, fit, in_the_way, laying, laying_pages, measuring, pattern_view, straight_tube, twist_clock
from bendcal.figures.paper import Picture

__all__ = ["Picture", "angle_ways", "at_the_bender", "bench", "bent_line", "comparison", "fit", "in_the_way", "laying", "laying_pages", "measuring", "pattern_view", "straight_tube", "twist_clock"]
