"""The parts that can be driven: one line a part, nothing else."""
