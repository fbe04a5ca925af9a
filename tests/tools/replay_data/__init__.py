"""What makes the recordings of replay_data/, their plans and their pages."""
