"""How the air moved: filter, smoother, heat, change points, balance."""
