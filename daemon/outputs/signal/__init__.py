"""What is heard, seen and pressed: buzzer, light, button, and their GPIO lines."""
