"""Before bed: is all that watches well; one screen, one verdict."""
