"""The account of a night, shown.

`rows` and `night_totals` choose and write what its tables hold; `text`, `json` and
`page` (with `page_bars`, `page_tables`, `page_style` and `pictures`, whose bars
`own_alarms` chooses) are its forms.  `compare_text` and `compare_page` show several
nights or trials side by side, by `compare_verdict`, their sentence, and `compare_rows`;
`live_view` shows the air now.  `night_rows` are a night as CSV, `log_check` what a
check of the log found.

May be imported by: commands.
"""
