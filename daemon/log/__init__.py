"""The night's log, both ends: lines, writer, queue, folder, reader, runs, timeline."""
