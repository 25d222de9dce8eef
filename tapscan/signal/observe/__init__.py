"""What is told beside the modes: force, buzz, steady tones, pictures."""
