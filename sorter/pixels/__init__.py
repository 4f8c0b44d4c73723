"""Pictures decoded: the only room that unpacks what it is given, and no more of it than it allows for."""
