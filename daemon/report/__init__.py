"""The account of a night, shown.

`rows` and `night_totals` choose and write what its tables hold; `text`, `json` and
`page` (with `page_tables`, `page_style` and `pictures`) are its forms.  `compare_text`
shows several nights side by side, `live_view` the air now.  `night_rows` are a night as
CSV, `log_check` what a check of the log found.

May be imported by: commands.
"""
