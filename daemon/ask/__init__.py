"""What a person asks of the running daemon: `parse` reads it, `socket` brings it.

The same requests come by phone (`outputs/mqtt/requests`) and by the machine's socket.

May be imported by: commands, outputs, precheck, service.
"""
