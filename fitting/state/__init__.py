"""Where the athlete stands: the state this morning, its past and what is ahead of it."""
