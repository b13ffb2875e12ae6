"""What a carried-out layout is worth: on sampled logs, refined, beside practice and with fewer settings."""
