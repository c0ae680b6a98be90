"""advice."""
