"""services."""
