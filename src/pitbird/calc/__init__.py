"""The calculations: typed requests and results, and their registry."""
