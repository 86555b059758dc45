"""The account of a night, from its log.

`morning` puts it together.  `cabin_facts` and `inside` say what the log knows of the
cabin; `closest_approach` how near each limit came, `alarm_episodes` what sounded,
`stretches` what the air did between marks, `health` how well the parts kept watch.
`configs` has what ran when, since each part is judged by its own limits.
`airflow/` works out how the air moved, `middle` which of its figures are told as a
range alone, `cabin_model` where the air would settle otherwise; `tonight` says what to
change, `verdict` whether it was safe.  `compare` puts nights and trials side by side,
by `trial_figures` and `trial_curves`.

May be imported by: commands, report.
"""
