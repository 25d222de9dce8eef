"""What the shop's reference bar says of sensor, recorder and room."""
