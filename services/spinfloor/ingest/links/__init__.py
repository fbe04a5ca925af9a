"""Live links: sockets that receive telemetry and hand it, acknowledged, to the same ingest as every other source."""
