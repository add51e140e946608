"""What a terminal shows, one text a command."""
