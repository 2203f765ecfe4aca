"""The way in: MQTT messages to validated readings; what cannot be read is set aside with its reason."""
