"""What the shell around the core needs from the outside world, each port with its promise stated."""
