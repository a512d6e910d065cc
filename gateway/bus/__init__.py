"""The bus: everything heard, published to the MQTT broker in the house."""
