"""How the air moved in a night, worked out from its CO2 and its warmth.

`nodes` are the moments that are judged; `kalman` filters the balance of CO2 through
them and `smoother` goes back; `heat` and `heat_evidence` say what the temperature adds,
`likelihood` what one explanation is worth, `change_points` searches for the best,
`rivals` for what else it may have been, and `mixture` joins them.  `carbon` tells CO2
beyond its part's range, `cycles` a thermostat, `doors` what stood open for minutes,
`sources` what people and burner may give, `guess` what an explanation says and
`stories` what no single change tells.  `air_moved` and `balance` turn it into fresh
air, gas and water.

May be imported by: report.
"""
