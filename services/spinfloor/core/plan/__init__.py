"""The plan: its schema, its checks, the entry-height budget and the rules a spin is judged by."""
