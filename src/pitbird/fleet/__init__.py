"""What entries mean: the kinds of entry, and the fold from entries to states."""
