"""How far repeats of a session type agree, and what more of them would teach."""
