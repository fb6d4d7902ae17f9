"""Layout to parts, one noun a module, in the cell's frame: seam on +Y, its two stations to both sides.

Builders know neither each other nor the engine that will read their parts.
"""
