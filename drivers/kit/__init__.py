"""What every part may use, and the only thing a part may import from here."""
