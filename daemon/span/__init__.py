"""In fresh air: span oxygen, zero CO, recalibrate CO2."""
