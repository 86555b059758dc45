"""One kind of rule a file, found by its file's name."""
