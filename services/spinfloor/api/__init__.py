"""HTTP and WebSocket routes, problem responses, authentication."""
