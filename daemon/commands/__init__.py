"""One command a file: options, output, exit code; cli.py alone imports it."""
