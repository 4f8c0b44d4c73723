"""What each maker writes beside the standard: the only place for makers' names and tags."""
