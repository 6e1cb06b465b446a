"""Reference models: loading, scaling to a hitter's height, alignment, comparison."""
