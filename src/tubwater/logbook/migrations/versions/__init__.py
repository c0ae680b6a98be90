"""One module a step; a step that was published is never changed."""
