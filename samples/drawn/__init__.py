"""How the sample is drawn: the truth in millimetres, a small rasteriser, the look of parts and layers."""
