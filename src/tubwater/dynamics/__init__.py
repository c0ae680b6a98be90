"""dynamics."""
