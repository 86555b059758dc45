"""The running watch: samplers, ticker, watcher, outputs, the host it runs on."""
