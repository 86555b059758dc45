"""The account shown: text, JSON, page, tables, pictures, the live view."""
