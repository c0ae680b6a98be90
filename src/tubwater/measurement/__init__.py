"""measurement."""
