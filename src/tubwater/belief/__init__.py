"""belief."""
