"""Charts as SVG, in the ink of the page or of the paper that they stand on."""
