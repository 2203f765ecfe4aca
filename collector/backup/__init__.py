"""What a ward can change over to when a unit fails: cylinders, and spare units that are proven good; pure."""
