"""What a person asks of the running watch: the request, and its socket."""
